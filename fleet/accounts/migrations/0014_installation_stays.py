"""What a database is for is noted for good."""

from django.db import migrations

from fleet.records import base_model


class Migration(migrations.Migration):
    """Guards the one row."""

    dependencies = [("accounts", "0013_job_grants_apart")]

    operations = [base_model.append_only("accounts_installation")]
