"""In which units the pages show quantities to a person: US with SI in brackets until they choose."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('accounts', '0006_qualified_by_whom'),
    ]

    operations = [
        migrations.AddField(
            model_name='user',
            name='units',
            field=models.CharField(choices=[('both', 'both'), ('us', 'us'), ('si', 'si')], default='both', max_length=8),
        ),
    ]
