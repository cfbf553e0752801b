"""A device that makes passkeys and signs with them, as the WebAuthn specification says.

Keys, ids and answers named `SPEC` are the test vectors of Web Authentication Level 3 (W3C), 16.2:
no attestation, ES256, for https://example.org. Everything else is built by 6.1 and 5.8.1.
"""

from __future__ import annotations

import base64
import hashlib
import json
import struct
from dataclasses import dataclass

import cbor2
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256

ORIGIN, RP_ID = "https://example.org", "example.org"
SPEC_KEY = 0x6E68E7A58484A3264F66B77F5D6DC5BC36A47085B615C9727AB334E8C369C2EE
SPEC_ID = bytes.fromhex("f91f391db4c9b2fde0ea70189cba3fb63f579ba6122b33ad94ff3ec330084be4")
SPEC_MADE = bytes.fromhex(
    "a363666d74646e6f6e656761747453746d74a068617574684461746158a4bfabc37432958b063360d3ad6461c9c4"
    "735ae7f8edd46592a5e0f01452b2e4b559000000008446ccb9ab1db374750b2367ff6f3a1f0020f91f391db4c9b2"
    "fde0ea70189cba3fb63f579ba6122b33ad94ff3ec330084be4a5010203262001215820afefa16f97ca9b2d23eb86"
    "ccb64098d20db90856062eb249c33a9b672f26df61225820930a56b87a2fca66334b03458abf879717c12cc68ed7"
    "3290af2e2664796b9220"
)
SPEC_MADE_DATA = bytes.fromhex(
    "7b2274797065223a22776562617574686e2e637265617465222c226368616c6c656e6765223a22414d4d50743455"
    "7878475453746e63647134313759447742466938767049612d7077386f4f755657345441222c226f726967696e22"
    "3a2268747470733a2f2f6578616d706c652e6f7267222c2263726f73734f726967696e223a66616c73652c226578"
    "74726144617461223a22636c69656e74446174614a534f4e206d617920626520657874656e646564207769746820"
    "6164646974696f6e616c206669656c647320696e20746865206675747572652c207375636820617320746869733a"
    "20426b5165446a646354427258426941774a544c453551227d"
)
SPEC_AUTH = bytes.fromhex(
    "bfabc37432958b063360d3ad6461c9c4735ae7f8edd46592a5e0f01452b2e4b51900000000"
)
SPEC_DATA = bytes.fromhex(
    "7b2274797065223a22776562617574686e2e676574222c226368616c6c656e6765223a224f63446e55685158756c"
    "5455506f334a5558543049393770767a7a59425039745a63685879617630314167222c226f726967696e223a2268"
    "747470733a2f2f6578616d706c652e6f7267222c2263726f73734f726967696e223a66616c73657d"
)
SPEC_SIGNATURE = bytes.fromhex(
    "3046022100f50a4e2e4409249c4a853ba361282f09841df4dd4547a13a87780218deffcd380221008480ac0f0b93"
    "538174f575bf11a1dd5d78c6e486013f937295ea13653e331e87"
)
PRESENT, VERIFIED, ATTESTED = 0x01, 0x04, 0x40


def b64(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode()


def answer(credential_id: bytes, **response: bytes) -> str:
    """What a script sends: the answer of a device as JSON."""
    parts = {name: b64(value) for name, value in response.items() if value}
    named = b64(credential_id)
    return json.dumps({"id": named, "rawId": named, "type": "public-key", "response": parts})


SPEC_MADE_ANSWER = answer(SPEC_ID, clientDataJSON=SPEC_MADE_DATA, attestationObject=SPEC_MADE)
SPEC_ANSWER = answer(
    SPEC_ID, clientDataJSON=SPEC_DATA, authenticatorData=SPEC_AUTH, signature=SPEC_SIGNATURE
)


def challenge_in(client_data: bytes) -> bytes:
    named = json.loads(client_data)["challenge"]
    return base64.urlsafe_b64decode(named + "=" * (-len(named) % 4))


@dataclass
class Device:
    """One passkey of one person; `count` 0 counts nothing, as synced passkeys do."""

    key: ec.EllipticCurvePrivateKey
    credential_id: bytes
    user: bytes = b""
    count: int = 0
    verifies: bool = True

    @classmethod
    def of_the_specification(cls) -> Device:
        return cls(ec.derive_private_key(SPEC_KEY, ec.SECP256R1()), SPEC_ID)

    def make(self, question: dict, origin: str = ORIGIN, rp_id: str = RP_ID) -> str:
        """Answer `navigator.credentials.create`."""
        self.user = base64.urlsafe_b64decode(question["user"]["id"] + "==")
        x, y = self.key.public_key().public_numbers().x, self.key.public_key().public_numbers().y
        public = {1: 2, 3: -7, -1: 1, -2: x.to_bytes(32, "big"), -3: y.to_bytes(32, "big")}
        named = struct.pack(">H", len(self.credential_id)) + self.credential_id
        known = bytes(16) + named + cbor2.dumps(public)
        made = {"fmt": "none", "attStmt": {}, "authData": self._data(rp_id, ATTESTED) + known}
        return answer(
            self.credential_id,
            clientDataJSON=self._client_data("webauthn.create", question, origin),
            attestationObject=cbor2.dumps(made),
        )

    def sign(self, question: dict, origin: str = ORIGIN, rp_id: str = RP_ID) -> str:
        """Answer `navigator.credentials.get`."""
        self.count += bool(self.count)
        client_data = self._client_data("webauthn.get", question, origin)
        data = self._data(rp_id)
        signed = data + hashlib.sha256(client_data).digest()
        return answer(
            self.credential_id,
            clientDataJSON=client_data,
            authenticatorData=data,
            signature=self.key.sign(signed, ec.ECDSA(SHA256())),
            userHandle=self.user,
        )

    def _data(self, rp_id: str, flags: int = 0) -> bytes:
        flags |= PRESENT | (VERIFIED if self.verifies else 0)
        return hashlib.sha256(rp_id.encode()).digest() + struct.pack(">BI", flags, self.count)

    def _client_data(self, kind: str, question: dict, origin: str) -> bytes:
        named = {"type": kind, "challenge": question["challenge"], "origin": origin}
        return json.dumps(named | {"crossOrigin": False}).encode()
