import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models

from fleet.records import base_model


class Migration(migrations.Migration):
    """Calls of tenants, and items of jobs that answer them. Nothing that was written before changes."""

    dependencies = [
        ("jobs", "0004_plans_from_before_asking"),
        ("portfolio", "0005_coordinates"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="TenantCall",
            fields=[
                ("id", models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ("kind", models.CharField(max_length=16)),
                ("flat", models.CharField(blank=True, max_length=40)),
                ("caller", models.CharField(blank=True, max_length=100)),
                ("call_back", models.CharField(blank=True, max_length=40)),
                ("since", models.DateTimeField(null=True)),
                ("note", models.TextField(blank=True)),
                ("at", models.DateTimeField()),
                ("request_id", models.CharField(blank=True, max_length=64)),
                (
                    "building",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="calls", to="portfolio.building"
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="calls", to="jobs.job"
                    ),
                ),
                (
                    "portfolio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="portfolio.portfolio"
                    ),
                ),
            ],
            options={"indexes": [models.Index(fields=["building", "-at"], name="tenant_call_newest")]},
        ),
        migrations.AddField(
            model_name="item",
            name="call",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.tenantcall"
            ),
        ),
        migrations.RemoveConstraint(model_name="item", name="job_item_asks_something"),
        migrations.AddConstraint(
            model_name="item",
            constraint=models.CheckConstraint(
                condition=models.Q(deficiency__isnull=False)
                | models.Q(call__isnull=False)
                | (models.Q(position__isnull=False) & ~models.Q(procedure="")),
                name="job_item_asks_something",
            ),
        ),
        base_model.portfolio_key("jobs_tenantcall"),
        base_model.same_portfolio("jobs_tenantcall", "building_id", "portfolio_building"),
        base_model.same_portfolio("jobs_tenantcall", "job_id", "jobs_job"),
        base_model.same_portfolio("jobs_item", "call_id", "jobs_tenantcall"),
        base_model.append_only("jobs_tenantcall"),
    ]
