"""Where a request came from, as far as it can be believed."""

import ipaddress

from django.conf import settings
from django.http import HttpRequest

IPV6_LINE_BITS = 64
# Stands where no address is known, as over a socket of this machine: who asks from there is counted as one.
NO_ADDRESS = "0.0.0.0"  # noqa: S104


def client_address(request: HttpRequest) -> str:
    """Return the client's address: the one that the outermost of our own proxies saw.

    Each proxy appends the address it was asked from, so that with N proxies the N-th from the end is the client's;
    what stands before it was written by the client and is never read.  A request with fewer hops came past a proxy, and
    is known by the address that asked.
    """
    direct: str = request.META.get("REMOTE_ADDR", "")
    hops = [hop.strip() for hop in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")]
    if not 1 <= settings.PROXIES <= len(hops):
        return direct
    try:
        return str(ipaddress.ip_address(hops[-settings.PROXIES]))
    except ValueError:
        return direct


def is_told_by_a_proxy_unknown(request: HttpRequest) -> bool:
    """Tell whether the request came through a proxy that COILBOOK_PROXIES does not count: all its clients look alike.

    Who asks from the open internet may have written the header itself, and is told apart by its address anyway.
    """
    if settings.PROXIES or "HTTP_X_FORWARDED_FOR" not in request.META:
        return False
    try:
        return not ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_global
    except ValueError:
        return True


def counted_address(request: HttpRequest) -> str:
    """Return whom tries and requests are counted against: the address, of IPv6 the network that one line is given.

    Whoever has one IPv6 line has 2^64 addresses and would never be counted twice (RFC 6177).
    """
    address = client_address(request)
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return NO_ADDRESS
    if parsed.version == 4:
        return address
    # An IPv4 client behind a socket that speaks both is no network.
    if (mapped := parsed.ipv4_mapped) is not None:
        return str(mapped)
    return str(ipaddress.ip_network((parsed.packed, IPV6_LINE_BITS), strict=False).network_address)
