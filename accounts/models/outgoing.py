"""What is owed to somebody by mail: the columns by which it goes out once."""

from django.db import models
from django.utils.translation import gettext_lazy as _

# Why something is shown on its page and goes nowhere else.
HELD = [("demo", _("demo, nothing is sent")), ("no_address", _("no mail address"))]
HELD_VALUES = ["", *(why for why, _words in HELD)]
# What the outbox writes of a message on its way, for the tables whose rows are held to their audit entries.
REWRITTEN_BY_THE_OUTBOX = dict.fromkeys(
    ["queued_at", "held", "attempts", "claimed_at", "next_try_at", "error", "sent_at"], "the outbox rewrites it"
)


class Outgoing(models.Model):
    """A message in the outbox: claimed by one worker, sent outside any transaction, tried again when that fails."""

    HELD = HELD

    queued_at = models.DateTimeField()
    held = models.CharField(max_length=12, choices=HELD, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True, blank=True)
    next_try_at = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True
