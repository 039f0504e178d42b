"""What a role may do, in words."""

from collections.abc import Collection

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from accounts.roles import Ability

ABILITY_WORDS: dict[Ability, "str | Promise"] = {
    Ability.READ: _("read"),
    Ability.CAPTURE: _("take checks"),
    Ability.SIGN: _("sign"),
    Ability.MANAGE: _("manage vehicles, meters and people"),
    Ability.ADMINISTER: _("administer the book"),
}


def ability_words(abilities: Collection[Ability]) -> str:
    """Return the abilities, least first, with commas between them."""
    return ", ".join(str(word) for ability, word in ABILITY_WORDS.items() if ability in abilities)
