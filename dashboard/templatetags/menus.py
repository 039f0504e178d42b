"""The two menus, with the page one is on marked."""

from django import template
from django.urls import reverse

from dashboard.menu import DESK, PHONE, Page

register = template.Library()
MENUS = {"desk": DESK, "phone": PHONE}


@register.inclusion_tag("dashboard/menu_links.html", takes_context=True)
def menu(context: template.Context, name: str) -> dict[str, object]:
    """Write the links of a menu."""
    request = context["request"]
    here = request.resolver_match.url_name if request.resolver_match else ""
    slug = context["organisation"].slug
    links = [
        (page.word, address, here == page.name or here in page.under) for page, address in _addresses(MENUS[name], slug)
    ]
    return {"links": links}


def _addresses(pages: tuple[Page, ...], slug: str) -> list[tuple[Page, str]]:
    return [(page, reverse(f"dashboard:{page.name}", kwargs={"organisation": slug})) for page in pages]


@register.inclusion_tag("dashboard/menu_list.html", takes_context=True)
def menu_list(context: template.Context, pages: tuple[Page, ...]) -> dict[str, object]:
    """Write the pages one under the other, each with what it holds."""
    return {"links": _addresses(pages, context["organisation"].slug)}
