"""Who is let in: codes, tokens, roles, tries, sources, names, and the certificate of its own."""

import contextlib
from datetime import timedelta
from pathlib import Path

import pytest
from store_kit import change_past_the_store, open_store

from calibration.errors import RestmarkError
from service.door import Door, DoorError, Role, SourceRule, least_role
from service.door import certificate as certificates
from service.door.names import own_addresses, served_names
from service.door.tries import PER_SOURCE, WINDOW_S, Tries
from service.store import NotFoundError

BOTH_DATABASES = True


class Clock:
    """Time that goes on when it is told to."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def door(data, clock):
    with (
        contextlib.closing(open_store(data)) as store,
        contextlib.closing(Door(store, clock=clock)) as door,
    ):
        yield door


def paired(door, role=Role.TABLE, name="Tablet"):
    return door.pair(door.new_code(role).code, name, source="10.0.0.5")


def test_a_code_pairs_one_device_once(door):
    made = door.new_code(Role.TABLE)
    token, device = door.pair(f" {made.code.lower().replace('-', ' ')} ", "Tablet", source="a")
    assert (device.name, device.role) == ("Tablet", "table")
    assert door.known(token, source="10.0.0.5").id == device.id
    assert door.remembered(token).id == device.id
    with pytest.raises(DoorError, match="was used, or is past its 15 minutes") as refused:
        door.pair(made.code, "Another", source="a")
    assert refused.value.code == "bad-code"


def test_a_code_ends(door):
    made = door.new_code(Role.OWNER, lasts=timedelta(0))
    with pytest.raises(DoorError):
        door.pair(made.code, "Late", source="a")


@pytest.mark.parametrize("change", ["number", "secret", "length", "none"])
def test_no_other_token_is_known(door, change):
    token, device = paired(door)
    number, _, secret = token.partition(".")
    other = {
        "number": f"{int(number) + 1}.{secret}",
        "secret": f"{number}.{secret[:-1]}{'A' if secret[-1] != 'A' else 'B'}",
        "length": token + "A",
        "none": "",
    }[change]
    assert door.known(token, source="a").id == device.id
    assert door.known(other, source="a") is None
    assert door.remembered(other) is None


def test_only_hashes_are_kept(door, data, database):
    made = door.new_code(Role.TABLE)
    token, _ = paired(door)
    held = b"".join(path.read_bytes() for path in data.rglob("*") if path.is_file())
    if database is None:
        assert b"Tablet" in held
    for secret in (made.code, made.code.replace("-", ""), token, token.partition(".")[2]):
        assert secret.encode() not in held


def test_who_is_shut_out_here_is_out_at_once_and_elsewhere_within_two_seconds(door, data, clock):
    one, two = paired(door), paired(door, name="Phone")
    for token, _ in (one, two):
        assert door.known(token, source="a") is not None
    door.revoke(one[1].id)
    assert door.remembered(one[0]) is None
    assert door.known(one[0], source="a") is None
    # by another process: the command, say
    change_past_the_store(data, "UPDATE devices SET revoked_at = paired_at WHERE id = :id",
                          id=two[1].id)  # fmt: skip
    assert door.remembered(two[0]) is not None
    clock.now_s += 2.1
    assert door.remembered(two[0]) is None
    assert door.known(two[0], source="a") is None
    assert door.devices() == ()
    with pytest.raises(NotFoundError):
        door.revoke(999)


def test_the_list_says_who_was_seen_from_where(door, data):
    token, device = paired(door)
    assert door.devices()[0].seen_at is None
    door.known(token, source="10.0.0.7")
    assert door.devices()[0].seen_from == "10.0.0.7"
    door.close()
    with contextlib.closing(open_store(data)) as store, store.reading() as reader:
        assert reader.device(device.id).seen_from == "10.0.0.7"


def test_guessing_is_stopped_and_a_good_code_still_pairs_later(door, clock):
    made = door.new_code(Role.TABLE)
    for _ in range(PER_SOURCE):
        with pytest.raises(DoorError, match="is none"):
            door.pair("WRONG-222", "Guess", source="10.0.0.66")
    with pytest.raises(DoorError, match=r"five tries a minute\. Wait 60 s") as refused:
        door.pair(made.code, "Guess", source="10.0.0.66")
    assert refused.value.code == "too-many-tries"
    assert refused.value.fields["wait_s"] == 61
    # nobody else waits for the one who guesses
    door.pair(made.code, "Tablet", source="10.0.0.5")
    clock.now_s += WINDOW_S
    with pytest.raises(DoorError, match="is none"):
        door.pair("WRONG-222", "Guess", source="10.0.0.66")


def test_many_addresses_do_not_guess_faster(clock):
    tries = Tries(clock)
    made = sum(tries.take(f"10.0.{number // 250}.{number % 250}") == 0 for number in range(1000))
    assert made == 30


@pytest.mark.parametrize(
    ("method", "path", "least"),
    [
        ("GET", "/", Role.VIEWER),
        ("GET", "/api/v1/attempts/3", Role.VIEWER),
        ("GET", "/api/v1/attempts.csv", Role.VIEWER),
        ("POST", "/api/v1/stills", Role.TABLE),
        ("PUT", "/api/v1/intent", Role.TABLE),
        ("POST", "/guide/parts", Role.TABLE),
        ("POST", "/api/v1/setup/stills", Role.TABLE),
        ("POST", "/api/v1/setup/stills/host", Role.OWNER),
        ("GET", "/api/v1/setup/picture", Role.OWNER),
        ("PUT", "/api/v1/watch", Role.OWNER),
        ("GET", "/api/v1/export", Role.OWNER),
        ("POST", "/api/v1/import", Role.OWNER),
        ("GET", "/api/v1/devices", Role.OWNER),
        ("GET", "/devices/list", Role.OWNER),
        ("DELETE", "/api/v1/devices/1", Role.OWNER),
        # what nobody thought of is the owner's
        ("POST", "/api/v1/stillsome", Role.OWNER),
        ("DELETE", "/new/thing", Role.OWNER),
    ],
)
def test_each_role_may_what_it_must(method, path, least):
    assert least_role(method, path) is least
    assert [role for role in Role if role.may(least)][-1] is Role.OWNER


@pytest.mark.parametrize("named", ["0", "3", "rtsp://10.0.0.9/live", "https://cam/live.mjpg"])
def test_cameras_may_be_named_from_afar(named):
    SourceRule.only([]).check(named)


@pytest.mark.parametrize(
    "named",
    ["/etc", "..", "./stills", "file:///etc/passwd", "concat:/etc/passwd://x", "~", "given/..",
     "given/../other", "/dev/video0", "gst://x"],
)  # fmt: skip
def test_no_path_may_be_named_from_afar_but_a_given_folder(tmp_path, monkeypatch, named):
    monkeypatch.chdir(tmp_path)
    rule = SourceRule.only([Path("given")])
    rule.check(str(tmp_path / "given"))
    rule.check("given")
    with pytest.raises(RestmarkError, match="allowed from here: a camera's number") as refused:
        rule.check(named)
    assert refused.value.code == "source-not-allowed"
    SourceRule().check(named)


def test_the_names_are_those_of_this_machine_alone():
    here = own_addresses()
    assert "127.0.0.1" in here
    names = served_names("0.0.0.0")
    assert {"localhost", "127.0.0.1"} <= set(names)
    assert not any(":" in name for name in names)
    assert served_names("192.0.2.7")[0] == "192.0.2.7"
    assert "127.0.0.1" not in served_names("192.0.2.7")
    assert served_names("table-room.lan") == ("table-room.lan",)


def test_a_certificate_of_its_own_stays_until_a_name_is_missing(tmp_path):
    made = certificates.own(tmp_path / "data", ["192.0.2.7", "table-room"])
    assert made.is_own
    assert certificates.own(tmp_path / "data", ["table-room"]).fingerprint == made.fingerprint
    assert {path.stat().st_mode & 0o777 for path in (made.key, made.certificate)} == {0o600}
    assert made.key.parent.stat().st_mode & 0o777 == 0o700
    other = certificates.own(tmp_path / "data", ["table-room", "fd00::7"])
    assert other.fingerprint != made.fingerprint
    # a key that is gone or another's makes both anew
    other.key.write_text("no key")
    again = certificates.own(tmp_path / "data", ["table-room"])
    again.context()
    assert again.fingerprint != other.fingerprint


def test_a_given_certificate_is_taken_or_refused(tmp_path):
    made = certificates.own(tmp_path / "a", ["table-room"])
    other = certificates.own(tmp_path / "b", ["table-room"])
    assert not certificates.given(made.certificate, made.key).is_own
    for certificate, key, words in (
        (made.certificate, other.key, "cannot be used"),
        (made.key, made.key, "cannot be read"),
        (tmp_path / "none.pem", made.key, "cannot be read"),
    ):
        with pytest.raises(certificates.CertificateError, match=words):
            certificates.given(certificate, key)
