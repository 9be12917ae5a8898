"""What went wrong with a broker, in words and with what to do. Pure: an exception in, one out.

Nothing of what a message may hold, a password above all, is repeated here.
"""

from __future__ import annotations

import socket
import ssl
from typing import TYPE_CHECKING, Final

from livecube.errors import BrokerError

if TYPE_CHECKING:
    from livecube.dashboard.settings import Address
    from livecube.errors import BrokerTrouble

__all__ = ["explain"]

_REASONS: Final[dict[int, BrokerTrouble]] = {
    1: "protocol",
    4: "bad password",
    5: "bad password",
    132: "protocol",
    134: "bad password",
    135: "bad password",
    138: "not allowed",
}
"""Codes with which a broker refuses a connection: MQTT 3.1.1, table 3.1, and MQTT 5, 3.2.2.2."""
_EXPIRED: Final = 10
"""OpenSSL's X509_V_ERR_CERT_HAS_EXPIRED."""
_WRONG_NAME: Final = (62, 64)
"""X509_V_ERR_HOSTNAME_MISMATCH, X509_V_ERR_IP_ADDRESS_MISMATCH."""
_TEXTS: Final[dict[BrokerTrouble, str]] = {
    "name not found": "the name {host} is not known; look for a slip, and at the network",
    "refused": "nobody listens on {place}; look whether the broker runs, and for the port",
    "no answer": "{place} does not answer; look whether the broker runs, and whether a firewall is "
    "between",
    "closed": "{place} closed the connection before it answered; if it speaks TLS there, write "
    "mqtts://; it may want a certificate from you",
    "lost": "the connection to {place} broke",
    "no tls": "{place} does not speak TLS; give the port on which it does (mostly 8883)",
    "protocol": "{place} speaks neither MQTT 5 nor 3.1.1",
    "not allowed": "{place} does not allow this",
}


def explain(error: BaseException, address: Address) -> BrokerError:
    """What an exception of the connection to ``address`` means, and what to do about it."""
    cause = error.__cause__ or error.__context__
    certificate = next((e for e in (error, cause) if isinstance(e, ssl.SSLError)), None)
    if certificate is not None:
        return _tls_trouble(certificate, address)
    trouble = _trouble(error, cause)
    if trouble == "bad password":
        who = (
            f"the user {address.user!r} with the password given"
            if address.user
            else (
                "us without a user and password; put the user into the address: mqtts://user@host"
            )
        )
        return BrokerError(trouble, f"{address.place} does not accept {who}")
    if trouble == "other":
        return BrokerError(trouble, f"{address.place}: {error}; it is tried again")
    return BrokerError(trouble, _TEXTS[trouble].format(host=address.host, place=address.place))


def _trouble(error: BaseException, cause: BaseException | None) -> BrokerTrouble:
    reason = getattr(error, "rc", None)
    code = getattr(reason, "value", reason)
    if type(error).__name__ == "MqttConnectError" and isinstance(code, int):
        return _REASONS.get(code, "other")
    for one in (error, cause):
        if isinstance(one, socket.gaierror):
            return "name not found"
        if isinstance(one, ConnectionRefusedError):
            return "refused"
        if isinstance(one, TimeoutError):
            return "no answer"
        if isinstance(one, ConnectionError):
            return "closed"
        if isinstance(one, OSError):
            return "no answer"
    said = str(error)
    if "timed out" in said:
        return "no answer"
    if "isconnect" in said:  # aiomqtt's words for a connection that was up
        return "lost"
    return "closed" if "closed" in said else "other"


def _tls_trouble(error: ssl.SSLError, address: Address) -> BrokerError:
    place = address.place
    if isinstance(error, ssl.SSLCertVerificationError):
        if error.verify_code == _EXPIRED:
            what = "has expired; the broker needs a new one"
        elif error.verify_code in _WRONG_NAME:
            what = f"is not for {address.host}; write the host as the certificate names it"
        else:
            what = (
                f"is not trusted ({error.verify_message}); if its authority is a private one, name"
                " it: authority = FILE"
            )
        return BrokerError("certificate", f"the certificate of {place} {what}")
    said = str(error.reason or error)
    if "CERTIFICATE" in said or "UNKNOWN_CA" in said:
        return BrokerError("certificate", f"{place} does not accept this machine's certificate")
    if "WRONG_VERSION_NUMBER" in said or "HTTP_REQUEST" in said or "RECORD_LAYER" in said:
        return BrokerError("no tls", _TEXTS["no tls"].format(place=place))
    return BrokerError("closed", f"no TLS connection to {place} came about ({said})")
