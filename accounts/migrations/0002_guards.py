"""Give the application role its rights, and make the audit stream append-only."""

from django.db import migrations

from accounts.database_roles import grant_application_role
from accounts.guards import guard


class Migration(migrations.Migration):
    dependencies = [("accounts", "0001_initial"), ("knox", "0009_extend_authtoken_field"), ("sessions", "0001_initial")]

    operations = [grant_application_role(), guard("accounts_auditentry")]
