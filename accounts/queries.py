"""Which organisations there are, and which of them a person is in: what is asked before an organisation is named.

Commands, the night's work and a first start ask for the list; no request that serves one organisation needs it, but for
the two pages that begin and end with the demo.
"""

from django.db.models import QuerySet

from accounts.models import Invitation, Member, Organisation, User
from accounts.tenancy import name_person, organisations_in_sight


def open_organisations() -> list[Organisation]:
    """Return every organisation that is not closed, oldest first."""
    with organisations_in_sight():
        return list(Organisation.objects.filter(closed_at__isnull=True).order_by("pk"))


def every_organisation() -> list[Organisation]:
    """Return every organisation, closed ones too, oldest first."""
    with organisations_in_sight():
        return list(Organisation.objects.order_by("pk"))


def organisation_called(slug: str) -> Organisation | None:
    """Return the organisation with the slug."""
    with organisations_in_sight():
        return Organisation.objects.filter(slug=slug).first()


def slugs_that_begin_with(base: str) -> set[str]:
    """Return the slugs in use that begin so."""
    with organisations_in_sight():
        return set(Organisation.objects.filter(slug__startswith=base).values_list("slug", flat=True))


def is_empty() -> bool:
    """Tell whether there is no organisation yet."""
    with organisations_in_sight():
        return not Organisation.objects.exists()


def demo_organisation() -> Organisation | None:
    """Return the demo while it is open."""
    return next((organisation for organisation in open_organisations() if organisation.is_demo), None)


def unanswered_invitations(organisation: Organisation) -> QuerySet[Invitation]:
    """Return the invitations that nobody answered and nobody took back; some of them may have run out."""
    return Invitation.objects.of(organisation).filter(accepted_at__isnull=True, revoked_at__isnull=True)


def memberships_of(person: User) -> QuerySet[Member]:
    """Return the person's memberships that give access today, with their organisations.

    Ask for them in the transaction that this names the person in.
    """
    name_person(person)
    return (
        Member.objects.current()
        .filter(user=person)
        .select_related("user", "organisation")
        .order_by("organisation__name", "pk")
    )
