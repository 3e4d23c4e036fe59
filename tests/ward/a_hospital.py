"""An invented hospital's identity provider: OpenID Connect by code and PKCE, real RS256 tokens, off the network."""

from __future__ import annotations

import hashlib
import secrets
from base64 import b64decode, urlsafe_b64encode
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import httpx2
from joserfc import jwt
from joserfc.jwk import KeySet, RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

ISSUER, CLIENT, SECRET = "https://log-in.hospital.example", "the-ward", "a secret that both servers were given"


@dataclass
class Provider:
    """`changed` may spoil the claims of a token before it is signed; `key` and `header` how it is signed."""

    now_ms: Callable[[], int]
    subject: str = "nurse"
    about: dict[str, Any] = field(default_factory=dict)
    changed: Callable[[dict[str, Any]], None] = lambda _: None
    header: dict[str, Any] = field(default_factory=dict)
    down: bool = False
    asked: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.key = RSAKey.generate_key(2048, {"kid": "first"})
        self.signs: Any = self.key
        self._codes: dict[str, dict[str, str]] = {}

    def transport(self) -> httpx2.AsyncBaseTransport:
        paths = {"/.well-known/openid-configuration": self._about, "/keys": self._keys, "/token": self._token}
        app = Starlette(routes=[Route(path, each, methods=["GET", "POST"]) for path, each in paths.items()])
        return httpx2.ASGITransport(app)

    def log_in(self, url: str, **more: str) -> str:
        """What a person's browser does there: the path of the ward with which it comes back."""
        asked = {name: values[0] for name, values in parse_qs(urlsplit(url).query).items()}
        assert url.startswith(f"{ISSUER}/authorize?")
        assert asked["response_type"] == "code" and asked["code_challenge_method"] == "S256"
        assert asked["client_id"] == CLIENT and "openid" in asked["scope"].split()
        code = secrets.token_urlsafe(12)
        self._codes[code] = asked
        back = urlsplit(asked["redirect_uri"])
        return f"{back.path}?{urlencode({'code': code, 'state': asked['state'], **more})}"

    def rotate(self) -> None:
        self.key = self.signs = RSAKey.generate_key(2048, {"kid": "second"})

    async def _about(self, request: Request) -> Response:
        self.asked.append("about")
        if self.down:
            return Response(status_code=503)
        told = {
            "issuer": ISSUER, "authorization_endpoint": f"{ISSUER}/authorize", "token_endpoint": f"{ISSUER}/token",
            "jwks_uri": f"{ISSUER}/keys", "id_token_signing_alg_values_supported": ["RS256", "none", "HS256"],
        }  # fmt: skip
        return JSONResponse(told | self.about)

    async def _keys(self, request: Request) -> Response:
        self.asked.append("keys")
        return JSONResponse(KeySet([self.key]).as_dict(private=False))

    async def _token(self, request: Request) -> Response:
        self.asked.append("token")
        client = b64decode(request.headers["authorization"].removeprefix("Basic ")).decode()
        form = await request.form()
        asked = self._codes.pop(str(form["code"]), None)  # a code is good once (RFC 6749, section 4.1.2)
        if asked is None or client.split(":")[0] != CLIENT:
            return JSONResponse({"error": "invalid_grant"}, 400)
        proof = urlsafe_b64encode(hashlib.sha256(str(form["code_verifier"]).encode()).digest()).rstrip(b"=").decode()
        if proof != asked["code_challenge"] or form["redirect_uri"] != asked["redirect_uri"]:
            return JSONResponse({"error": "invalid_grant"}, 400)
        now = self.now_ms() // 1000
        claims = {
            "iss": ISSUER, "sub": self.subject, "aud": CLIENT, "iat": now, "exp": now + 300, "nonce": asked["nonce"],
        }  # fmt: skip
        self.changed(claims)
        header = {"alg": "RS256", "kid": "first" if self.key.kid == "first" else "second"} | self.header
        token = jwt.encode(header, claims, self.signs, algorithms=[header["alg"]])
        return JSONResponse({"access_token": secrets.token_urlsafe(8), "token_type": "Bearer", "id_token": token})
