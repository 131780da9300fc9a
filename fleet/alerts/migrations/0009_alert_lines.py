"""What else of the same event stands against firing, as lines of the alert."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("alerts", "0008_times_raised"),
    ]

    operations = [
        migrations.AddField(
            model_name="alert",
            name="lines",
            field=models.JSONField(default=list),
        ),
    ]
