"""Any order of packets and verdicts: a session answers each message once, and never twice."""

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.packets import Publish
from joulebook.ingest.mqtt.session import ServerSession
from tests.helpers.mqtt_packets import PINGREQ, connect, publish, pubrel

IDS = st.integers(1, 4)


class Conversation(RuleBasedStateMachine):
    """A client that sends what it likes, in pieces, and an inbox that settles when it likes."""

    @initialize(level=st.sampled_from([4, 5]))
    def begin(self, level: int) -> None:
        self.level = level
        self.session = ServerSession(SessionLimits(receive_maximum=6), new_client_id="x", now_s=0.0)
        self.session.receive(connect(level), 0.0)
        self.session.admit(0.0)
        self.said = b""
        self.waiting: list[Publish] = []
        self.now_s = 0.0
        self.asked = 0  # messages of QoS 1 that a PUBACK has to come for
        self.pings = 0

    def receive(self, raw: bytes, cut: int) -> None:
        self.now_s += 1.0
        before = self.session.over
        for part in (raw[:cut], raw[cut:]):
            published = self.session.receive(part, self.now_s)
            assert not (before and published)
            self.waiting += published

    @rule(packet_id=IDS, qos=st.integers(0, 2), dup=st.booleans(), cut=st.integers(0, 30))
    def send_a_message(self, packet_id: int, qos: int, *, dup: bool, cut: int) -> None:
        raw = publish(level=self.level, qos=qos, packet_id=packet_id, dup=dup and qos > 0)
        self.receive(raw, cut)

    @rule(packet_id=IDS, cut=st.integers(0, 4))
    def release(self, packet_id: int, cut: int) -> None:
        self.receive(pubrel(packet_id), cut)

    @rule(cut=st.integers(0, 2))
    def ping(self, cut: int) -> None:
        if not self.session.over:
            self.pings += 1
        self.receive(PINGREQ, cut)

    @rule(raw=st.binary(min_size=1, max_size=12), cut=st.integers(0, 12))
    @precondition(lambda self: len(self.waiting) > 2)
    def send_anything(self, raw: bytes, cut: int) -> None:
        self.receive(raw, cut)
        self.pings = -10_000  # it may have been a ping, or the beginning of what swallows them

    @rule(count=st.integers(1, 3), verdict=st.sampled_from(Verdict))
    @precondition(lambda self: self.waiting)
    def settle(self, count: int, verdict: Verdict) -> None:
        now, self.waiting = self.waiting[:count], self.waiting[count:]
        if not self.session.over:
            self.asked += sum(one.qos == 1 for one in now)
        self.session.settle(now, [verdict] * len(now))

    @invariant()
    def each_message_is_answered_once(self) -> None:
        self.said += self.session.outgoing()
        kinds = [packet[0] >> 4 for packet in split(self.said)]
        assert kinds[0] == 2  # CONNACK
        assert kinds.count(4) == self.asked  # PUBACK
        assert kinds.count(13) >= self.pings or self.session.over
        assert self.session.over is (self.session.fault is not None) or self.pings < 0

    @invariant()
    def nothing_is_held_after_the_end(self) -> None:
        if self.session.over:
            assert self.session.unfinished_bytes == 0
            assert self.session.deadline_s is None


def split(stream: bytes) -> list[bytes]:
    """Return the packets of what a server said; all of them are short."""
    packets = []
    while stream:
        end = 2 + stream[1]
        packets.append(stream[:end])
        assert len(packets[-1]) == end
        stream = stream[end:]
    return packets


TestConversation = Conversation.TestCase
TestConversation.settings = settings(
    derandomize=True, deadline=None, max_examples=60, stateful_step_count=30
)
