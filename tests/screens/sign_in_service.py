"""A small OpenID Connect service for tests: OpenID Connect Core 1.0, code flow, with PKCE (RFC 7636), on loopback."""

import base64
import hashlib
import secrets
import threading
import time
from urllib.parse import urlencode

import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.responses import JSONResponse, RedirectResponse
from starlette.routing import Route

CLIENT, SECRET = "dyebook", "secret of the client"


class SignInService:
    """Signs in whoever `person` says, without asking; every code works once, for the client that knows its secret."""

    def __init__(self, address, port):
        self.base = f"http://{address}:{port}"
        self.person = {"email": "mara@shop.example", "email_verified": True}
        self._codes, self._key = {}, RSAKey.generate_key(2048, {"kid": "one"})
        routes = [
            Route("/.well-known/openid-configuration", self._metadata),
            Route("/keys", self._keys),
            Route("/authorize", self._authorize),
            Route("/token", self._token, methods=["POST"]),
        ]
        config = uvicorn.Config(Starlette(routes=routes), host=address, port=port, log_level="warning")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, daemon=True)

    def start(self):
        """Serve from a thread until `stop`."""
        self._thread.start()
        end = time.monotonic() + 20
        while not self._server.started:
            assert time.monotonic() < end
            time.sleep(0.02)

    def stop(self):
        """Stop and wait for it."""
        self._server.should_exit = True
        self._thread.join(10)

    async def _metadata(self, _request):
        ends = {"authorization_endpoint": "authorize", "token_endpoint": "token", "jwks_uri": "keys"}
        return JSONResponse(
            {
                "issuer": self.base,
                **{name: f"{self.base}/{path}" for name, path in ends.items()},
                "response_types_supported": ["code"],
                "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["RS256"],
                "code_challenge_methods_supported": ["S256"],
            }
        )

    async def _keys(self, _request):
        return JSONResponse({"keys": [self._key.as_dict(private=False)]})

    async def _authorize(self, request):
        asked = dict(request.query_params)
        code = secrets.token_urlsafe()
        self._codes[code] = asked, dict(self.person)
        return RedirectResponse(f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state']})}")

    async def _token(self, request):
        form = (
            dict(await request.form())
            if "multipart" in request.headers["content-type"]
            else _form(await request.body())
        )
        basic = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        asked, person = self._codes.pop(form.get("code"), ({}, {}))
        digest = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        proves = base64.urlsafe_b64encode(digest).decode().rstrip("=") == asked.get("code_challenge")
        if not proves or not request.headers.get("authorization", "").endswith(basic):
            return JSONResponse({"error": "invalid_grant"}, 400)
        now = int(time.time())
        claims = {"iss": self.base, "sub": person["email"], "aud": CLIENT, "iat": now, "exp": now + 600, **person}
        claims["nonce"] = asked["nonce"]
        token = jwt.encode({"alg": "RS256", "kid": "one"}, claims, self._key)
        return JSONResponse({"access_token": "none", "token_type": "Bearer", "id_token": token})


def _form(body):
    from urllib.parse import parse_qsl

    return dict(parse_qsl(body.decode()))
