"""What services refuse, said once; each door maps it to its own form."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what was sent: where (a path of keys and indexes), a code, and a sentence."""

    path: tuple[str | int, ...]
    code: str
    detail: str


class Refused(Exception):
    """The request cannot be carried out as it stands; nothing was stored."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = faults


class NotAllowed(Exception):
    """The member's role does not reach that far, or (`scope_lacking`) the token was made for less than the role."""

    def __init__(self, detail: str, *, scope_lacking: bool = False) -> None:
        super().__init__(detail)
        self.scope_lacking = scope_lacking


class Conflict(Exception):
    """The same id is already taken by something else."""

    def __init__(self, detail: str, current: Any = None) -> None:
        super().__init__(detail)
        self.detail = detail
        self.current = current


class NoInvitation(Exception):
    """The link is unknown, used, taken back or too old; which of these is nobody's business."""
