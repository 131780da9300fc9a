"""How often an alert was raised: anew for a further cause, and then nobody has acknowledged it yet."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("alerts", "0007_register_gaps"),
    ]

    operations = [
        migrations.AddField("alert", "times_raised", models.PositiveIntegerField(default=0)),
    ]
