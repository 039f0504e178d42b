"""Who acts: the member behind a request or a command, and from where."""

from dataclasses import dataclass

from accounts.errors import NotAllowed
from accounts.models import Member, Organisation, User
from accounts.request_ids import current_request_id
from accounts.roles import ABILITIES, Ability, Role


@dataclass(frozen=True, slots=True)
class Actor:
    """A person (or, with `user` None, the system) acting in one organisation through one door.

    `token` names the token that acted for the person; `on_behalf_of` is whose wish it was where that is somebody else,
    such as the person for whom a command was run on the server.
    """

    organisation: Organisation
    user: User | None
    role: Role | None
    source: str
    address: str = ""
    request_id: str = ""
    token: str = ""
    on_behalf_of: User | None = None
    # A token may be made for reading alone; then the role's other abilities are not its own.
    read_only: bool = False

    def may(self, ability: Ability) -> bool:
        """Tell whether the role reaches that far; the system's own work always does."""
        if self.user is None:
            return True
        return self._role_allows(ability) and (ability is Ability.READ or not self.read_only)

    def require(self, ability: Ability) -> None:
        """Raise NotAllowed unless the role reaches that far."""
        if self.may(ability):
            return
        if self._role_allows(ability):
            raise NotAllowed(f"This token may only read; it may not {ability}.", scope_lacking=True)
        raise NotAllowed(f"The role {self.role} may not {ability}.")

    def require_rank(self, role: Role) -> None:
        """Raise NotAllowed where the role is above the actor's own: nobody gives or takes what they do not have."""
        if self.user is not None and (self.role is None or not self.role.reaches(role)):
            raise NotAllowed(f"The role {self.role} may not give or take the role {role}.")

    def require_more_than_reading(self) -> None:
        """Raise NotAllowed where a token acts that was made for reading alone, whatever the role."""
        if self.read_only:
            raise NotAllowed("This token may only read.", scope_lacking=True)

    def _role_allows(self, ability: Ability) -> bool:
        return self.role is not None and ability in ABILITIES[self.role]


def member_actor(
    member: Member,
    *,
    source: str,
    address: str = "",
    token: str = "",
    read_only: bool = False,
) -> Actor:
    """Return the member as an actor, through a token where one is named."""
    return Actor(
        member.organisation,
        member.user,
        Role(member.role),
        source,
        address,
        current_request_id(),
        token=token,
        read_only=read_only,
    )


def system_actor(organisation: Organisation, *, source: str, on_behalf_of: User | None = None) -> Actor:
    """Return the service itself, acting for the organisation, on a person's wish where one is named."""
    return Actor(organisation, None, None, source, on_behalf_of=on_behalf_of)
