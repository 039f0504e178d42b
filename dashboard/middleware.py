"""What every page does beside answering."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from accounts.sessions import SessionStore


class SessionSeen:
    """Keep when a session was last seen; a request that looked at no session costs nothing."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        """Take what comes next."""
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer, then note the session."""
        response = self.get_response(request)
        session = request.session
        if isinstance(session, SessionStore) and session.accessed:
            session.note_seen()
        return response
