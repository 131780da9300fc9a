"""The answers of a visit say what stands against firing; nothing stored reads as a permission until it is judged again."""

from django.db import migrations, models

BEFORE = "UPDATE assessments_readiness SET answer = '{new}' WHERE answer = '{old}'"


class Migration(migrations.Migration):

    dependencies = [
        ("assessments", "0002_waiting"),
    ]

    operations = [
        migrations.AlterField("readiness", "answer", models.CharField(max_length=32)),
        # The raised version of the rules judges every boiler again; until then the side that cannot hurt is shown.
        migrations.RunSQL(BEFORE.format(old="ready", new="not_examined"), migrations.RunSQL.noop),
        migrations.RunSQL(BEFORE.format(old="cant_say", new="not_examined"), migrations.RunSQL.noop),
        migrations.RunSQL(BEFORE.format(old="not_ready", new="something_does"), migrations.RunSQL.noop),
    ]
