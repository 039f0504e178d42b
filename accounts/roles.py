"""What each role may do.  Services ask here, so that every door gives the same answer."""

from enum import StrEnum

from django.utils.translation import gettext_lazy as _


class Role(StrEnum):
    """A member's part in the organisation, from least to most."""

    VIEWER = "viewer"
    TRAINEE = "trainee"
    TECHNICIAN = "technician"
    MANAGER = "manager"
    ADMINISTRATOR = "administrator"

    def reaches(self, other: "Role") -> bool:
        """Tell whether this role is the other or a higher one.

        >>> Role.MANAGER.reaches(Role.TECHNICIAN), Role.MANAGER.reaches(Role.ADMINISTRATOR)
        (True, False)
        """
        order = list(Role)
        return order.index(self) >= order.index(other)


class Ability(StrEnum):
    """Something a role may do."""

    READ = "read"
    CAPTURE = "capture"
    SIGN = "sign"
    MANAGE = "manage"
    ADMINISTER = "administer"


ROLE_CHOICES = [
    (Role.VIEWER.value, _("viewer")),
    (Role.TRAINEE.value, _("trainee")),
    (Role.TECHNICIAN.value, _("technician")),
    (Role.MANAGER.value, _("manager")),
    (Role.ADMINISTRATOR.value, _("administrator")),
]

ABILITIES: dict[Role, frozenset[Ability]] = {
    Role.VIEWER: frozenset({Ability.READ}),
    Role.TRAINEE: frozenset({Ability.READ, Ability.CAPTURE}),
    Role.TECHNICIAN: frozenset({Ability.READ, Ability.CAPTURE, Ability.SIGN}),
    Role.MANAGER: frozenset({Ability.READ, Ability.CAPTURE, Ability.SIGN, Ability.MANAGE}),
    Role.ADMINISTRATOR: frozenset(Ability),
}
