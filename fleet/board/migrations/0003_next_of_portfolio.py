"""The next boundary of a portfolio is one look-up: what was answered holds until then."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("board", "0002_figures_over_time"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="judged",
            index=models.Index(
                fields=["portfolio", "next_at"],
                condition=models.Q(("next_at__isnull", False)),
                name="judged_portfolio_next",
            ),
        ),
    ]
