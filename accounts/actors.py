"""Who acts: the member behind a request or a command, and from where."""

from dataclasses import dataclass

from accounts.errors import NotAllowed
from accounts.models import Member, Organisation, User
from accounts.roles import ABILITIES, Ability, Role


@dataclass(frozen=True, slots=True)
class Actor:
    """A person (or, with `user` None, the system) acting in one organisation through one door."""

    organisation: Organisation
    user: User | None
    role: Role | None
    source: str
    address: str = ""
    request_id: str = ""

    def may(self, ability: Ability) -> bool:
        """Tell whether the role reaches that far; the system's own work always does."""
        return self.user is None or (self.role is not None and ability in ABILITIES[self.role])

    def require(self, ability: Ability) -> None:
        """Raise NotAllowed unless the role reaches that far."""
        if not self.may(ability):
            raise NotAllowed(f"The role {self.role} may not {ability}.")


def member_actor(member: Member, *, source: str, address: str = "", request_id: str = "") -> Actor:
    """Return the member as an actor."""
    return Actor(member.organisation, member.user, Role(member.role), source, address, request_id)


def system_actor(organisation: Organisation, *, source: str) -> Actor:
    """Return the service itself, acting for the organisation."""
    return Actor(organisation, None, None, source)
