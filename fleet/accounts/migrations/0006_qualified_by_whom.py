"""A portfolio vouches for qualifications in its own buildings only; those from before count everywhere."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0005_refused_post'),
        ('portfolio', '0001_initial'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='qualification',
            name='qualification_once',
        ),
        migrations.AddField(
            model_name='qualification',
            name='portfolio',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='portfolio.portfolio'),
        ),
        migrations.AddConstraint(
            model_name='qualification',
            constraint=models.UniqueConstraint(fields=('user', 'code', 'since', 'portfolio'), name='qualification_once', nulls_distinct=False),
        ),
    ]
