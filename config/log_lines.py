"""Log lines: one a record whatever stands in it, with the request's id, and without secrets."""

import logging
import re
import time

from accounts.request_ids import current_request_id

HIDDEN = "[hidden]"
# A token by its prefix, and whatever follows the name of something secret.
TOKEN = re.compile(r"cbk_[A-Za-z0-9]+|(?i:bearer)\s+[^\s'\",;]+")
NAMED_SECRET = re.compile(
    r"""(?ix)
    (\b (?: (?:proxy-)?authorization | (?:set-)?cookie | sessionid | csrf_?token | csrfmiddlewaretoken | x-csrftoken
          | idempotency-key | password\d? | old_password | new_password\d? | passphrase | recovery_?codes? | otp_?token
          | otp | secret(?:_key)? | api_?key | token ) ["']? \s* [:=] \s*)
    ( "(?:[^"\\]|\\.)*" | '(?:[^'\\]|\\.)*' | \[[^\]]*\] | [^\s,&;}\])]+ (?:;\s*\w+=[^\s,;]+)* )
    """
)
# What breaks a line or drives a terminal: control characters, line and paragraph separators, and marks that turn the
# direction of writing.
UNSAFE = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u202a-\u202e\u2066-\u2069]")


class RequestId(logging.Filter):
    """Put the request's id on every record."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Keep every record."""
        # The framework tells of a refusal once the request is over, and says which request it was.
        named = getattr(getattr(record, "request", None), "request_id", "")
        record.request_id = named or current_request_id() or "-"
        return True


class OneLine(logging.Formatter):
    """A record as one line, in UTC; a traceback stands in the same line with its breaks escaped."""

    converter = staticmethod(time.gmtime)
    default_time_format = "%Y-%m-%dT%H:%M:%S"
    default_msec_format = "%s.%03dZ"

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        return on_one_line(without_secrets(super().format(record)))


def without_secrets(text: str) -> str:
    r"""Return the text with what must not be read in a log hidden.

    >>> without_secrets('POST /x Authorization: Bearer cbk_0123 password="a\\"b" done')
    'POST /x Authorization: [hidden] password=[hidden] done'
    """
    return NAMED_SECRET.sub(rf"\1{HIDDEN}", TOKEN.sub(HIDDEN, text))


def on_one_line(text: str) -> str:
    r"""Return the text with whatever could break the line escaped.

    >>> on_one_line("a\nb\x1b[2J")
    'a\\nb\\x1b[2J'
    """
    return UNSAFE.sub(lambda match: match[0].encode("unicode_escape").decode("ascii"), text)
