"""The rounds of a line, on a clock that tests move."""

import logging
import threading

import pytest

from joulebook_bridge.batch import Batch
from joulebook_bridge.clock import system_clock
from joulebook_bridge.configuration import LinePlan
from joulebook_bridge.modbus.faults import RefusedFault, SilentFault, UnreachableFault
from joulebook_bridge.modbus.lines import Line
from joulebook_bridge.modbus.polling import Poller
from tests.helpers.modbus_servers import plant_of, tcp_server
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.register_maps import (
    CURRENT,
    PANELS,
    SLOW,
    VOLTAGE,
    ScriptedLine,
    line_plan,
    map_of,
)
from tests.helpers.stepped_clock import NOON_MS, SteppedClock

EXPECT = "[[expect]]\naddress = 0\nwords = [7]\n"
WORDS = {0: 7, 10: 531, 11: 214, 20: 900}


class Rounds:
    """A poller, its line and its clock, and what it took."""

    def __init__(self, plan: LinePlan, *units: int) -> None:
        self.time = SteppedClock(NOON_MS + 1)
        self.line = ScriptedLine(dict.fromkeys(units, WORDS), self.time.pass_ms)
        self.taken: list[Batch] = []
        self.poller = Poller(plan, self.line, self.time.clock(), self.taken.append)

    def go_on(self, for_ms: int) -> None:
        """Poll as long as something is due."""
        end_ms = self.time.mono_ms + for_ms
        while True:
            wait_ms = round(self.poller.wait_s() * 1000)
            if self.time.mono_ms + wait_ms > end_ms:
                self.time.pass_ms(max(0, end_ms - self.time.mono_ms))
                return
            self.time.pass_ms(wait_ms)
            self.poller.poll()

    def asked(self, unit: int) -> int:
        return sum(request[0] == unit for request in self.line.asked)


def test_readings_fall_on_whole_seconds_of_the_wall() -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE)}), 1)
    rounds.line.takes_ms[1] = 40
    rounds.go_on(2500)
    assert [batch.at.wall_ms - NOON_MS for batch in rounds.taken] == [1000, 2000]
    assert rounds.taken[0].at.offset_ms == rounds.time.now().offset_ms


def test_a_late_answer_keeps_its_own_time() -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE)}), 1)
    rounds.line.takes_ms[1] = 101
    rounds.go_on(1500)
    assert [batch.at.wall_ms - NOON_MS for batch in rounds.taken] == [1101]


def test_each_group_has_its_own_interval() -> None:
    rounds = Rounds(line_plan({1: map_of(SLOW, VOLTAGE, PANELS)}), 1)
    rounds.go_on(20_000)
    devices = [batch.shape.device for batch in rounds.taken]
    assert (devices.count("battery"), devices.count("pv")) == (20, 2)


def test_a_silent_unit_is_asked_less_and_less_and_said_once(
    caplog: pytest.LogCaptureFixture,
) -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE), 2: map_of(VOLTAGE)}), 1, 2)
    rounds.line.faults[2] = SilentFault("no usable answer within 0.5 s")
    rounds.line.takes_ms[2] = 500
    rounds.go_on(120_000)
    # Half a second each, then waits of 1, 2, 4, ... 60 s to the next whole second: tries at
    # 1, 3, 6, 11, 20, 37 and 70 s.
    assert rounds.asked(2) == 7
    assert rounds.poller.silent_units == 1
    assert [record.getMessage() for record in caplog.records] == [
        "unit 2 of tcp://127.0.0.1:502 is not read: no usable answer within 0.5 s. Tried again, "
        "less and less often"
    ]
    # The other one missed at most the seconds that fell into those tries.
    assert len(rounds.taken) >= 120 - 7
    del rounds.line.faults[2]
    rounds.go_on(61_000)
    assert rounds.poller.silent_units == 0
    assert "unit 2 of tcp://127.0.0.1:502 is read again after" in caplog.records[-1].getMessage()


def test_silence_is_said_again_after_an_hour(caplog: pytest.LogCaptureFixture) -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE)}), 1)
    rounds.line.faults[1] = SilentFault("nothing")
    rounds.go_on(3_700_000)
    assert len(caplog.records) == 2


def test_a_slow_unit_has_a_bounded_share_of_the_line() -> None:
    rounds = Rounds(
        line_plan({1: map_of(VOLTAGE), 2: map_of(VOLTAGE), 3: map_of(VOLTAGE)}), 1, 2, 3
    )
    rounds.line.takes_ms[3] = 450
    rounds.go_on(60_000)
    # It would like 450 ms of each second; of three units it may have a third at most.
    assert rounds.asked(3) * 450 <= 60_000 / 3
    assert rounds.asked(1) >= 59
    assert rounds.asked(2) >= 59


def test_a_line_that_is_away_is_asked_less_and_less_by_everybody(
    caplog: pytest.LogCaptureFixture,
) -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE), 2: map_of(VOLTAGE)}), 1, 2)
    away = UnreachableFault("nothing answers")
    rounds.line.faults = {1: away, 2: away}
    rounds.go_on(60_000)
    assert rounds.poller.silent_units == 2
    assert len(rounds.line.asked) <= 7
    assert len(caplog.records) == 2
    rounds.line.faults = {}
    rounds.go_on(31_000)
    assert rounds.poller.silent_units == 0


def test_a_stranger_is_not_read_and_said_in_words(caplog: pytest.LogCaptureFixture) -> None:
    rounds = Rounds(line_plan({1: map_of(EXPECT, VOLTAGE)}), 1)
    rounds.go_on(2000)
    assert len(rounds.taken) == 2
    # Other equipment is put in its place while the line is quiet for a moment.
    rounds.line.faults[1] = SilentFault("nothing")
    rounds.go_on(1000)
    rounds.line.faults = {}
    rounds.line.registers[1][0] = 8
    rounds.go_on(10_000)
    assert len(rounds.taken) == 2
    assert rounds.poller.silent_units == 1
    rounds.line.registers[1][0] = 7
    rounds.go_on(60_000)
    assert len(rounds.taken) > 2
    assert caplog.records


def test_expectations_are_looked_at_once_an_hour() -> None:
    rounds = Rounds(line_plan({1: map_of(EXPECT, VOLTAGE)}), 1)
    rounds.go_on(7_300_000)
    assert rounds.line.asked.count((1, 3, 0, 1)) == 3


def test_a_missing_register_is_said_once_and_the_rest_is_read(
    caplog: pytest.LogCaptureFixture,
) -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE, CURRENT.replace("11", "99"))}), 1)
    rounds.go_on(5000)
    assert len(rounds.taken) == 5
    assert len(caplog.records) == 1
    assert "does not give 1 registers from address 99" in caplog.text


def test_a_busy_unit_waits() -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE)}), 1)
    rounds.line.faults[1] = RefusedFault(6)
    rounds.go_on(10_000)
    assert len(rounds.line.asked) == 4  # at 1 s, and after waits of 1, 2 and 4 s at 2, 4 and 8 s
    assert rounds.taken == []


def test_a_clock_that_is_set_back_does_not_hold_up_a_round() -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE)}), 1)
    rounds.go_on(2000)
    rounds.time.set_by(-3_600_000)
    rounds.go_on(3000)
    assert len(rounds.taken) == 5


def test_the_log_is_quiet_while_all_is_well(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    Rounds(line_plan({1: map_of(VOLTAGE)}), 1).go_on(10_000)
    assert caplog.records == []


def test_the_line_is_let_go_when_it_is_stopped() -> None:
    rounds = Rounds(line_plan({1: map_of(VOLTAGE)}), 1)
    stop = threading.Event()
    stop.set()
    rounds.poller.run(stop)
    assert rounds.line.is_closed


def test_it_runs_on_a_real_line_until_it_is_stopped() -> None:
    fast = "[groups]\nquick.every_s = 0.1\n"
    plan = line_plan({1: map_of(fast, VOLTAGE + 'group = "quick"\n')})
    taken: list[Batch] = []
    stop = threading.Event()
    with tcp_server(plant_of({1: WORDS})) as (port, asked):
        line = Line(type(plan.address)("127.0.0.1", port), timeout_s=1)
        poller = Poller(plan, line, system_clock(), taken.append)
        thread = threading.Thread(target=poller.run, args=(stop,))
        thread.start()
        wait_until(lambda: len(taken) >= 3)
        stop.set()
        thread.join()
    assert taken[0].values == (53.1,)
    assert set(asked.functions) == {3}
