"""A position that boilers share is due on each of them: an alert is one for its boiler too."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('alerts', '0003_heat'),
        ('portfolio', '0004_imports'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='alert',
            name='alert_open_once',
        ),
        migrations.RemoveConstraint(
            model_name='alert',
            name='alert_once',
        ),
        migrations.AddConstraint(
            model_name='alert',
            constraint=models.UniqueConstraint(condition=models.Q(('until', None), ('withdrawn', False)), fields=('condition', 'subject', 'boiler'), name='alert_open_once', nulls_distinct=False),
        ),
        migrations.AddConstraint(
            model_name='alert',
            constraint=models.UniqueConstraint(condition=models.Q(('withdrawn', False)), fields=('condition', 'subject', 'boiler', 'since'), name='alert_once', nulls_distinct=False),
        ),
    ]
