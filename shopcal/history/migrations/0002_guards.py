from django.db import migrations

from shopcal.database import guards_operation
from shopcal.history.guards import GUARDS


class Migration(migrations.Migration):

    dependencies = [("history", "0001_initial")]

    operations = [guards_operation(GUARDS)]
