"""One connection to the service, and what it says: MQTT 5.0, quality of service 1."""

import socket
import ssl
import time
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from joulebook_bridge.errors import AwayError, BridgeError, WrongError

_PORTS = {"mqtt": 1883, "mqtts": 8883}
_LISTEN_S = 0.2  # how long one look at the socket lasts; the deadline is checked between looks

# Reason codes of MQTT 5.0, §2.4.
_UNSUPPORTED_VERSION = 0x84
_BAD_CREDENTIALS = 0x86
_NOT_AUTHORISED = 0x87
_TOPIC_INVALID = 0x90


@dataclass(frozen=True, slots=True)
class Server:
    """Where the service takes readings."""

    host: str
    port: int
    tls: bool

    def __str__(self) -> str:
        return f"mqtt{'s' if self.tls else ''}://{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class Credentials:
    """Who sends; the token is not shown in a traceback either.

    ``certificate`` and ``key`` are PEM files, for a service that asks for them over TLS.
    """

    name: str
    token: str = field(repr=False)
    certificate: str = ""
    key: str = ""


def parse_server(url: str) -> Server:
    """Return the server that ``mqtt://HOST:PORT`` (or ``mqtts://``) names.

    Raises
    ------
    WrongError
        If it names none. The text is not repeated: it may hold a password.
    """
    try:
        parts = urlsplit(url)
        port = parts.port or _PORTS.get(parts.scheme)
    except ValueError:
        parts, port = urlsplit(""), None
    extra = parts.scheme not in _PORTS or parts.username is not None or parts.path.strip("/")
    if extra or port is None or not parts.hostname:
        raise WrongError(
            "the server's address is not understood",
            where="--server, or JOULEBOOK_BRIDGE_SERVER",
            expected="mqtt://HOST:PORT or mqtts://HOST:PORT, without name or password",
            next_step="write it so; name and token have their own options",
        )
    return Server(parts.hostname, port, tls=parts.scheme == "mqtts")


class Session:
    """A connection from its beginning to its end. For one thread; a new one for each attempt.

    Parameters
    ----------
    timeout_s : float
        How long the connection, and each answer, may take.
    client_id : str
        How a broker knows this client again; the service goes by the name.
    """

    def __init__(
        self, server: Server, credentials: Credentials, *, timeout_s: float, client_id: str = ""
    ) -> None:
        self._server = server
        self._credentials = credentials
        self._timeout_s = timeout_s
        self._accepted: ReasonCode | None = None
        self._answers: list[tuple[int, ReasonCode]] = []
        self._goodbye: ReasonCode | None = None
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
        )
        client.username_pw_set(credentials.name, credentials.token)
        client.connect_timeout = timeout_s
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        client.on_disconnect = self._on_disconnect
        if server.tls:
            self._show_certificate(client)
        self._client = client

    def connect(self) -> None:
        """Connect, and wait until the service has let us in.

        Raises
        ------
        WrongError
            If it does not take this sender.
        AwayError
            If it cannot be reached, or does not answer in time.
        """
        until_s = time.monotonic() + self._timeout_s
        self._open()
        while self._accepted is None:
            left_s = until_s - time.monotonic()
            if left_s <= 0:
                raise self.silent("the connection")
            self._listen(min(left_s, _LISTEN_S), "the connection")
        if self._accepted.is_failure:
            raise self._connection_refused(self._accepted)

    def publish(self, topic: str, payload: bytes) -> int:
        """Send a message and return its number, under which the answer will come."""
        return self._client.publish(topic, payload, qos=1).mid

    def answers(self, wait_s: float) -> list[tuple[int, ReasonCode]]:
        """Return the answers that have come, after looking for more for at most so long.

        Raises
        ------
        AwayError
            If the connection ended, and no answer came before that.
        """
        self._listen(min(wait_s, _LISTEN_S), "the message")
        answers, self._answers = self._answers, []
        return answers

    def close(self) -> None:
        """Say goodbye."""
        self._client.disconnect()

    def _show_certificate(self, client: Client) -> None:
        ours = self._credentials
        try:
            client.tls_set(certfile=ours.certificate or None, keyfile=ours.key or None)
        except OSError as error:  # those of TLS are among them
            raise WrongError(
                f"cannot use the bridge's certificate: {error.strerror or error}",
                where=f"{ours.certificate}, {ours.key}",
                expected="a PEM certificate and its unencrypted key",
                next_step="check both paths and that this user may read them",
            ) from error

    def _open(self) -> None:
        try:
            self._client.connect(self._server.host, self._server.port)
        except socket.gaierror as error:
            raise self._away(
                f"no host is called {self._server.host!r}", "check --server"
            ) from error
        except ConnectionRefusedError as error:
            raise self._away(
                "nothing listens at this port", "start the service, or check the port in --server"
            ) from error
        except ssl.SSLError as error:
            raise self._away(
                f"there is no secure connection: {error.reason or error}",
                "check that the port speaks TLS and that this machine trusts its certificate",
            ) from error
        except TimeoutError as error:
            raise self.silent("the connection") from error
        except OSError as error:
            raise self._away(
                f"the service cannot be reached: {error.strerror or error}", "check the network"
            ) from error

    def _listen(self, wait_s: float, waiting_for: str) -> None:
        """Look at the socket for a moment; end with a reason when there is no more to wait for."""
        result = self._client.loop(wait_s)
        answered = self._accepted if waiting_for == "the connection" else self._answers
        if result != MQTTErrorCode.MQTT_ERR_SUCCESS and not answered:
            said = f": {self._goodbye}" if self._goodbye else ""
            raise self._away(
                f"the service closed the connection before it answered {waiting_for}{said}",
                "try again; the service's log says more",
            )

    def _on_connect(self, *arguments: Any) -> None:
        self._accepted = arguments[3]

    def _on_publish(self, *arguments: Any) -> None:
        self._answers.append((arguments[2], arguments[3]))

    def _on_disconnect(self, *arguments: Any) -> None:
        self._goodbye = arguments[3]

    def _away(self, what: str, next_step: str) -> AwayError:
        return AwayError(
            what,
            where=str(self._server),
            expected="a joulebook service that takes readings",
            next_step=next_step,
        )

    def silent(self, waiting_for: str) -> AwayError:
        """Return the error that no answer is."""
        return AwayError(
            f"the service did not answer {waiting_for} within {self._timeout_s:g} s",
            where=str(self._server),
            expected="an answer in time",
            next_step="check host and port, or allow more with --timeout; nothing was confirmed",
        )

    def _connection_refused(self, reason: ReasonCode) -> BridgeError:
        if reason.value in (_BAD_CREDENTIALS, _NOT_AUTHORISED):
            return WrongError(
                f"the service does not accept the name {self._credentials.name!r} with this token",
                where=str(self._server),
                expected="a name and the token that was made for it",
                next_step="check both; 'joulebook token add NAME --site SITE' makes a new token",
            )
        if reason.value == _UNSUPPORTED_VERSION:
            return WrongError(
                "the server does not speak MQTT 5.0",
                where=str(self._server),
                expected="a joulebook service, or a broker of MQTT 5.0",
                next_step="check host and port in --server",
            )
        return self._away(f"the service refused the connection: {reason}", "try again later")

    def message_refused(self, reason: ReasonCode, topic: str) -> BridgeError:
        """Return the error that a refused message is."""
        if reason.value == _NOT_AUTHORISED:
            return WrongError(
                f"the token of {self._credentials.name!r} may not write to this site",
                where=topic,
                expected="the site that the token was made for",
                next_step="check --site, or have a token made for this site",
            )
        if reason.value == _TOPIC_INVALID:
            return WrongError(
                "the service does not take readings under this topic",
                where=topic,
                expected="joulebook/v1/SITE/DEVICE in lower-case letters, digits and '-'",
                next_step="check --site and the device's name",
            )
        return self._away(
            f"the service refused the message: {reason}", "the service's log says more"
        )
