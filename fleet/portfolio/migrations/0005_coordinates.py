from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("portfolio", "0004_imports")]

    operations = [
        migrations.AddField(
            model_name="building",
            name="latitude_deg",
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name="building",
            name="longitude_deg",
            field=models.FloatField(null=True),
        ),
    ]
