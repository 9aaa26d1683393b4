"""Timestamps from a server (RFC 3161 over HTTP, its section 3.4)."""

import asyncio
import urllib.error
import urllib.request
from urllib.parse import urlsplit

from asn1crypto import tsp
from pyhanko.sign.timestamps import TimeStamper

from loambrief.archive.errors import TimestampFault

LARGEST_ANSWER = 200_000
QUERY, REPLY = "application/timestamp-query", "application/timestamp-reply"


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """An answer that points elsewhere is not followed."""

    def redirect_request(self, *args, **kwargs):
        return None


class HttpTimeStamper(TimeStamper):
    """Asks one server, within a time limit; answers are bounded in size.

    Parameters
    ----------
    url : str
        ``http:`` or ``https:``. The token is signed, so plain HTTP is usual.

    Raises
    ------
    TimestampFault
        Another kind of address.
    """

    def __init__(self, url: str, timeout_s: float = 15.0):
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise TimestampFault(f"timestamp address {url!r}: wanted http:// or https://")
        super().__init__()
        self.url, self.timeout_s = url, timeout_s
        self._opener = urllib.request.build_opener(
            urllib.request.ProxyHandler(), urllib.request.HTTPHandler(),
            urllib.request.HTTPSHandler(), _NoRedirect())

    async def async_request_tsa_response(self, req: tsp.TimeStampReq) -> tsp.TimeStampResp:
        return await asyncio.to_thread(self._ask, req.dump())

    def _ask(self, query: bytes) -> tsp.TimeStampResp:
        host = urlsplit(self.url).hostname
        request = urllib.request.Request(
            self.url, data=query, headers={"Content-Type": QUERY, "Accept": REPLY})
        try:
            with self._opener.open(request, timeout=self.timeout_s) as answer:
                kind = answer.headers.get_content_type()
                content = answer.read(LARGEST_ANSWER + 1)
        except urllib.error.HTTPError as error:
            raise TimestampFault(f"timestamp server {host}: HTTP {error.code}") from None
        except (OSError, ValueError) as error:
            why = getattr(error, "reason", None) or error
            raise TimestampFault(f"timestamp server {host}: {why}") from None
        if kind != REPLY or len(content) > LARGEST_ANSWER:
            raise TimestampFault(f"timestamp server {host}: the answer is no timestamp ({kind})")
        try:
            response = tsp.TimeStampResp.load(content, strict=True)
            response.native  # noqa: B018 - parses all of it
        except (ValueError, TypeError):
            raise TimestampFault(f"timestamp server {host}: the answer is malformed") from None
        return response
