"""Whose it is and who did it: people, organisations, depots, memberships, tokens, the audit stream, background work."""

from accounts.models.audit import AuditEntry, AuditHead
from accounts.models.first_answers import FirstAnswer
from accounts.models.members import Invitation, Member
from accounts.models.organisations import DECISION_RULES, Depot, Organisation, validate_time_zone
from accounts.models.people import User
from accounts.models.signing_in import RecoveryCode, Session
from accounts.models.tokens import AS_THE_ROLE, READ_ONLY, TOKEN_SCOPES, ApiToken
from accounts.models.work import WorkRun

__all__ = [
    "AS_THE_ROLE",
    "DECISION_RULES",
    "READ_ONLY",
    "TOKEN_SCOPES",
    "ApiToken",
    "AuditEntry",
    "AuditHead",
    "Depot",
    "FirstAnswer",
    "Invitation",
    "Member",
    "Organisation",
    "RecoveryCode",
    "Session",
    "User",
    "WorkRun",
    "validate_time_zone",
]
