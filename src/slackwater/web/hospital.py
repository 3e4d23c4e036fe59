"""The hospital's own log-in: OpenID Connect Core 1.0, by code with PKCE (RFC 7636). It says who; never what they may.

Needs the extra `oidc`. What was begun is kept in memory: a server that starts anew asks to begin again.
"""

from __future__ import annotations

import hmac
import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import httpx2
from authlib.integrations.httpx_client import AsyncOAuth2Client, OAuthError
from authlib.oidc.core import CodeIDToken
from joserfc import jwt
from joserfc.errors import InvalidKeyIdError, JoseError
from joserfc.jwk import KeySet

from slackwater.errors import UsageError
from slackwater.quantities.spans import HOUR_MS, MINUTE_MS
from slackwater.store.accounts import token_of
from slackwater.web.settings import Hospital

BEGUN_MS = 10 * MINUTE_MS  # so long may somebody take there
MOST = 1000  # log-ins begun at once; beyond, the oldest is over
KNOWN_MS = HOUR_MS  # its addresses and keys are asked for again
LEEWAY_S = 60  # two servers' clocks
WITHIN_S = 10.0
SIGNED = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512")  # never a shared secret


class NotLetIn(Exception):
    """Why, for the person at the screen. `status` 401; 503 where the hospital's server does not answer."""

    def __init__(self, why: str, status: int = 401) -> None:
        self.why = why
        self.status = status
        super().__init__(why)


@dataclass(frozen=True)
class Begun:
    """One log-in on its way. `held`: the session that the browser had, which the same person may go on with."""

    browser: str  # hash of the secret in the browser that began it
    nonce: str
    verifier: str
    back: str
    to: str
    held: str
    at_ms: int


class HospitalLogIn:
    """`begin` gives where the browser goes; `end` takes what it comes back with, once."""

    def __init__(
        self, hospital: Hospital, clock: Callable[[], int], transport: httpx2.AsyncBaseTransport | None = None
    ) -> None:
        _guarded(hospital.issuer)
        self.hospital = hospital
        self._clock = clock
        self._more: dict[str, Any] = {} if transport is None else {"transport": transport}
        self._begun: OrderedDict[str, Begun] = OrderedDict()
        self._about: tuple[int, dict[str, Any]] | None = None

    async def begin(self, back: str, to: str, held: str) -> tuple[str, str]:
        """The hospital's address for this browser, and the secret that the browser keeps until it is back."""
        async with self._client(back) as client:
            about = await self._addresses(client)
            browser, nonce, verifier = (secrets.token_urlsafe(48) for _ in range(3))
            url, state = client.create_authorization_url(
                about["authorization_endpoint"], secrets.token_urlsafe(32), verifier, nonce=nonce
            )
        self._begun[state] = Begun(token_of(browser), nonce, verifier, back, to, held, self._clock())
        while len(self._begun) > MOST:
            self._begun.popitem(last=False)
        return url, browser

    async def end(self, said: Mapping[str, str], browser: str) -> tuple[Mapping[str, Any], Begun]:
        """Who it is, as the checked token says, and what was begun. NotLetIn with the reason."""
        begun = self._begun.pop(said.get("state", ""), None)  # whatever comes of it, it is over
        if begun is None or self._clock() - begun.at_ms > BEGUN_MS:
            raise NotLetIn("This log-in is over, or was not begun here. Begin it again.")
        if not hmac.compare_digest(begun.browser, token_of(browser)):
            raise NotLetIn("This log-in was begun in another window or browser. Begin it again here.")
        if "error" in said or not said.get("code"):
            refused = said.get("error", "no reason given")
            plain = refused if refused.replace("_", "").isascii() and refused.replace("_", "").isalnum() else "refused"
            raise NotLetIn(f"The hospital's log-in let nobody in: {plain.replace('_', ' ')[:60]}.")
        async with self._client(begun.back) as client:
            about = await self._addresses(client)
            self._same_issuer(about, said.get("iss"))
            try:
                token = await client.fetch_token(
                    about["token_endpoint"], code=said["code"], code_verifier=begun.verifier,
                    grant_type="authorization_code",
                )  # fmt: skip
                return await self._checked(client, about, token, begun.nonce), begun
            except httpx2.HTTPError as error:
                raise _silent() from error
            except (OAuthError, JoseError, KeyError, TypeError, ValueError) as error:
                raise NotLetIn(
                    f"The hospital's log-in gave an answer that does not fit ({_reason(error)}). Begin it again; if it "
                    "stays so, tell whoever looks after this server."
                ) from error

    def _client(self, back: str) -> AsyncOAuth2Client:
        given, about = self.hospital, self._about
        ways = ["client_secret_basic"] if about is None else about[1].get("token_endpoint_auth_methods_supported", [])
        by = "none" if not given.secret else "client_secret_post" if ways == ["client_secret_post"] else None
        scope = "openid" if given.claim == "sub" else "openid profile email"
        return AsyncOAuth2Client(
            given.client, given.secret or None, by, scope=scope, redirect_uri=back, code_challenge_method="S256",
            timeout=WITHIN_S, follow_redirects=False, **self._more,
        )  # fmt: skip

    async def _addresses(self, client: AsyncOAuth2Client) -> dict[str, Any]:
        """What the issuer says of itself (OpenID Connect Discovery 1.0, section 4)."""
        if self._about is None or self._clock() - self._about[0] > KNOWN_MS:
            about = await _read(client, f"{self.hospital.issuer.rstrip('/')}/.well-known/openid-configuration")
            if about.get("issuer") != self.hospital.issuer:
                raise NotLetIn("The hospital's log-in calls itself by another name than this server was told.", 503)
            try:
                for name in ("authorization_endpoint", "token_endpoint", "jwks_uri"):
                    _guarded(about[name])
            except (KeyError, UsageError) as error:
                raise NotLetIn("The hospital's log-in gives no address that can be used.", 503) from error
            self._about = (self._clock(), about)
        return self._about[1]

    def _same_issuer(self, about: Mapping[str, Any], told: str | None) -> None:
        """RFC 9207: an answer of another server is not taken for this one's."""
        must = about.get("authorization_response_iss_parameter_supported") is True
        if (told is not None or must) and told != self.hospital.issuer:
            raise NotLetIn("The answer came from another log-in than the hospital's. Begin it again.")

    async def _checked(
        self, client: AsyncOAuth2Client, about: dict[str, Any], token: Mapping[str, Any], nonce: str
    ) -> Mapping[str, Any]:
        """The claims of the id token, its signature and claims checked (OpenID Connect Core 1.0, section 3.1.3.7)."""
        told = about.get("id_token_signing_alg_values_supported") or ["RS256"]
        allowed = [one for one in SIGNED if one in told]
        if "jwks" not in about:
            about["jwks"] = await _read(client, about["jwks_uri"])
        try:
            found = jwt.decode(token["id_token"], KeySet.import_key_set(about["jwks"]), allowed)
        except InvalidKeyIdError:  # it signs with a new key
            about["jwks"] = await _read(client, about["jwks_uri"])
            found = jwt.decode(token["id_token"], KeySet.import_key_set(about["jwks"]), allowed)
        client_id = self.hospital.client
        claims = CodeIDToken(
            found.claims, found.header,
            {"iss": {"essential": True, "value": self.hospital.issuer}, "aud": {"essential": True, "value": client_id}},
            {"nonce": nonce, "client_id": client_id, "access_token": token.get("access_token")},
        )  # fmt: skip
        claims.validate(now=self._clock() // 1000, leeway=LEEWAY_S)
        return dict(claims)


async def _read(client: AsyncOAuth2Client, url: str) -> dict[str, Any]:
    try:
        answer = await client.request("GET", url, withhold_token=True)
        answer.raise_for_status()
        found = answer.json()
    except (httpx2.HTTPError, ValueError) as error:
        raise _silent() from error
    if not isinstance(found, dict):
        raise _silent()
    return found


def _silent() -> NotLetIn:
    return NotLetIn("The hospital's log-in does not answer. Log in with your password here, or try again later.", 503)


def _guarded(url: str) -> None:
    """Only over TLS, or on this machine itself."""
    parts = urlsplit(url)
    if parts.scheme != "https" and not (parts.scheme == "http" and parts.hostname in ("127.0.0.1", "::1", "localhost")):
        raise UsageError(
            f"{url} would send who logs in in the clear", mend="Give an address that begins with https://."
        )


def _reason(error: Exception) -> str:
    """The kind of fault, and the claim it is about; nothing of what was sent."""
    kind = str(getattr(error, "error", "")) or type(error).__name__
    claim = str(getattr(error, "claim", ""))
    return f"{kind.replace('_', ' ')} {claim}".strip()[:60]
