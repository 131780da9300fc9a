"""Days of proof left, a row for each boiler."""

import django.db.models.deletion
import uuid
from django.db import migrations, models

from fleet.portfolio import rows


class Migration(migrations.Migration):

    dependencies = [
        ('board', '0003_next_of_portfolio'),
        ('portfolio', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='ProofGlass',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('hazard', models.CharField(max_length=32)),
                ('procedure', models.CharField(blank=True, max_length=40)),
                ('proved_at', models.DateTimeField(null=True)),
                ('due_at', models.DateTimeField(null=True)),
                ('exposed_at', models.DateTimeField()),
                ('tick_proved_at', models.DateTimeField(null=True)),
                ('tick_due_at', models.DateTimeField(null=True)),
                ('boiler', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='glass', to='portfolio.boiler')),
                ('portfolio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='portfolio.portfolio')),
                ('position', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='portfolio.position')),
            ],
            options={
                'abstract': False,
            },
        ),
        rows.same_portfolio("board_proofglass", "boiler_id", "portfolio_boiler"),
        rows.same_portfolio("board_proofglass", "position_id", "portfolio_position"),
    ]
