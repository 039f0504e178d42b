"""What is done once everything is loaded."""

from django.apps import AppConfig
from django.core.checks import Tags, register

from accounts.proxy_check import proxies_are_counted
from accounts.role_checks import role_is_bound, roles_are_apart


class AccountsConfig(AppConfig):
    """Organisations, people, the record."""

    name = "accounts"

    def ready(self) -> None:
        """Have `check --deploy` look at the database's roles and at the proxies."""
        register(roles_are_apart, Tags.security, deploy=True)
        register(role_is_bound, Tags.database, deploy=True)
        register(proxies_are_counted, Tags.security, deploy=True)
