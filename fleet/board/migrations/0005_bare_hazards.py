"""Which hazards stand bare is stored beside the standing that it comes from; none until a boiler is judged again."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("board", "0004_proof_glass"),
    ]

    operations = [
        migrations.AddField("segment", "bare", models.JSONField(default=list)),
    ]
