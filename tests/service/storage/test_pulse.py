from joulebook.storage.pulse import Pulse


def test_silence_counts_only_while_there_is_work() -> None:
    now_s = [100.0]
    pulse = Pulse(lambda: now_s[0])
    assert pulse.silent_s == 0.0
    pulse.beat()
    now_s[0] = 107.5
    assert pulse.silent_s == 7.5
    pulse.beat()
    assert pulse.silent_s == 0.0
    now_s[0] = 200.0
    pulse.rest()
    assert pulse.silent_s == 0.0
