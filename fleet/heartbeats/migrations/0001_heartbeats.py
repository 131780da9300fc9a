"""When each part was last seen at work."""

from django.db import migrations, models


class Migration(migrations.Migration):
    """One table, of a few rows that are overwritten."""

    initial = True
    dependencies = []

    operations = [
        migrations.CreateModel(
            name="Heartbeat",
            fields=[
                ("part", models.CharField(max_length=32, primary_key=True, serialize=False)),
                ("seen_at", models.DateTimeField()),
                ("detail", models.CharField(blank=True, max_length=80)),
            ],
        ),
    ]
