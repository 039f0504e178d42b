"""The second wall: on PostgreSQL the database itself keeps organisations apart."""

from django.db import migrations

from accounts.database_roles import grant_nightly_role
from accounts.walls import wall, wall_of_organisations, wall_with_key, wall_with_person


class Migration(migrations.Migration):
    dependencies = [("accounts", "0002_guards")]

    operations = [
        grant_nightly_role("accounts_organisation"),
        wall_of_organisations("accounts_organisation", members="accounts_member"),
        wall_with_person("accounts_member", person="user_id"),
        wall_with_key("accounts_apitoken", key="digest"),
        wall_with_key("accounts_invitation", key="digest"),
        wall(
            "accounts_auditentry",
            "accounts_audithead",
            "accounts_depot",
            "accounts_firstanswer",
        ),
    ]
