from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("accounts", "0007_units"),
    ]

    operations = [
        migrations.CreateModel(
            name="Look",
            fields=[
                (
                    "user",
                    models.OneToOneField(
                        on_delete=models.CASCADE,
                        primary_key=True,
                        related_name="+",
                        serialize=False,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("until", models.DateTimeField()),
            ],
        ),
    ]
