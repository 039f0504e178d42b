"""What kind of browser a session is at, in plain words, from what the browser says of itself."""

from django.utils.translation import gettext as _

# In this order: most browsers also name those whose pages they can show.
BROWSERS = [
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser", "Samsung Internet"),
    ("Firefox", "Firefox"),
    ("FxiOS", "Firefox"),
    ("CriOS", "Chrome"),
    ("Chromium", "Chromium"),
    ("Chrome", "Chrome"),
    ("Safari", "Safari"),
]
SYSTEMS = [
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("Mac OS X", "Mac"),
    ("CrOS", "Chromebook"),
    ("Linux", "Linux"),
]


def browser_words(user_agent: str) -> str:
    """Return such as "Firefox on Windows".

    >>> browser_words("Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0")
    'Firefox on Linux'
    >>> browser_words("curl/8.5.0")
    'an unknown browser'
    """
    browser = next((word for mark, word in BROWSERS if mark in user_agent), None)
    system = next((word for mark, word in SYSTEMS if mark in user_agent), None)
    if browser is None:
        return _("an unknown browser")
    return _("%(browser)s on %(system)s") % {"browser": browser, "system": system} if system else browser
