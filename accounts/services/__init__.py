"""Organisations, people and their ways in: what accounts decides and writes."""

from accounts.services.members import add_member, current_member
from accounts.services.organisations import add_depot, create_organisation
from accounts.services.tokens import issue_token, note_token_use

__all__ = ["add_depot", "add_member", "create_organisation", "current_member", "issue_token", "note_token_use"]
