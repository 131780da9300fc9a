from django.db import migrations, models

from fleet.accounts.telephone import LONGEST, dialable


class Migration(migrations.Migration):
    dependencies = [
        ("accounts", "0008_look"),
    ]

    operations = [
        migrations.AddField(
            model_name="user",
            name="telephone",
            field=models.CharField(blank=True, default="", max_length=LONGEST, validators=[dialable]),
        ),
    ]
