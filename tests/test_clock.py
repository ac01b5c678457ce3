"""The computer's clock is put back and forward while it serves, and stands in other time zones.

Shots keep their order, nobody is let in for longer or kept out, and days are those of the room.
"""

import contextlib
import time
from datetime import UTC, date, datetime, timedelta

import pytest
from api_kit import Client, after, running
from store_kit import URLS, open_store

from service.api.serving.limits import Limits
from service.cli.given.inputs import moment
from service.clock import day_of
from service.doctor import CARE, look
from service.door import Door, DoorError, Role
from service.store.databases.kept import daily_copies
from service.store.writing.moments import MOST_BEHIND, Moments, newest_kept

BOTH_DATABASES = True
HOUR = timedelta(hours=1)


class Shifted:
    """The clock on the wall, so far off."""

    def __init__(self) -> None:
        self.by = timedelta(0)

    def __call__(self) -> datetime:
        return datetime.now(UTC) + self.by


@pytest.fixture
def wall(monkeypatch):
    """The clock that the service asks; ``by`` puts it forward or back."""
    shifted = Shifted()
    monkeypatch.setattr("service.clock.now", shifted)
    return shifted


@pytest.fixture
def zone(monkeypatch):
    """Have the process stand in a time zone."""

    def stand_in(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield stand_in
    monkeypatch.undo()
    time.tzset()


def page_of(client, path=""):
    """Address of a page beside the API."""
    return str(client.base_url).partition("/api/")[0] + f"/{path}"


def played(client):
    """When attempts were played, and their numbers, in the order that figures are worked out."""
    found = client.get("/attempts", params={"limit": 100}).json()["attempts"]
    ordered = sorted(found, key=lambda each: (each["made_at"], each["id"]))
    return [each["id"] for each in ordered], [each["made_at"] for each in ordered]


# -- put back and forward while serving ------------------------------------------------------


def test_a_clock_put_back_and_forward_while_serving_leaves_shots_in_their_order(client, wall, data):
    shifts = (0, -2, -26, +5, -30 * 24, 0)
    for hours in shifts:
        wall.by = hours * HOUR
        assert client.round(after()).status_code == 201
    numbers, times = played(client)
    assert numbers == sorted(numbers), "in the order in which they were played"
    assert len(set(times)) == len(times), "no two are of one moment"
    begun = datetime.fromisoformat(times[0])
    # forward is followed, back is not: hours of a wrong clock, never those of the one before
    assert datetime.fromisoformat(times[3]) - begun > 4 * HOUR
    told = client.get("/statistics").json()["statistics"]
    assert told["attempts"] == len(shifts)
    rows = client.get("/attempts.csv").text.splitlines()[1:]
    assert [int(row.split(",")[0]) for row in rows] == numbers
    # what is asked by time finds what was played since, whatever the clock showed then
    since = client.get("/statistics", params={"since": times[4]}).json()["statistics"]
    assert since["attempts"] == 2


def test_events_go_on_in_their_order_when_the_clock_is_put_back(data, wall):
    with contextlib.closing(open_store(data)) as store:
        for hours in (0, -3, 6, -1):
            wall.by = hours * HOUR
            with store.writing() as writer:
                writer.tell("note", attempt_id=1)
        with store.reading() as reader:
            told = reader.events(after=0, limit=100)
    assert [each.id for each in told] == sorted(each.id for each in told)
    assert [each.at for each in told] == sorted({each.at for each in told})


def test_what_a_person_set_after_a_shot_is_after_it_though_the_clock_was_put_back(client, wall):
    answer = client.round(after()).json()
    wall.by = -3 * HOUR
    own = {"pot": "4", "pocket": "side-left", "next": "9", "next_pocket": "head-left"}
    own_id = client.put("/intent", json=own).json()["id"]
    wall.by = -8 * HOUR
    number = answer["reading"]["id"]
    assert client.put(f"/readings/{number}/outcome", json={"event": "placed"}).status_code == 200
    assert client.get("/intent").json()["id"] == own_id, "a person's intent stays"


def test_a_clock_that_was_put_back_is_said_until_it_has_caught_up(client, wall, data):
    assert client.round(after()).status_code == 201
    assert client.get("/health").json()["warnings"] == []
    wall.by = -2 * HOUR
    (warning,) = client.get("/health").json()["warnings"]
    assert "The clock stands 2 h behind" in warning.replace("120 min", "2 h")
    page = client.get(page_of(client)).text
    assert "behind what was kept" in page
    (told,) = [each for each in look(data, URLS.get(data)) if each.what == "clock"]
    assert (told.state, "behind what was kept last" in told.found) == (CARE, True)
    wall.by = timedelta(0)
    assert client.get("/health").json()["warnings"] == []


@pytest.mark.parametrize("back", [HOUR, MOST_BEHIND - HOUR])
def test_a_start_with_the_clock_put_back_goes_on_from_what_is_kept(data, wall, back):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    wall.by = -back
    with running(data) as address, Client(address) as client:
        assert client.round(after()).status_code == 201
        numbers, times = played(client)
        assert numbers == sorted(numbers)
        assert times == sorted(set(times))


def test_a_computer_without_a_battery_goes_on_from_what_is_kept(data, wall):
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    wall.by = datetime(1970, 1, 1, 0, 5, tzinfo=UTC) - datetime.now(UTC)
    with running(data) as address, Client(address) as client:
        assert client.round(after()).status_code == 201
        assert played(client)[0] == sorted(played(client)[0])
        (warning,) = client.get("/health").json()["warnings"]
        assert "days behind" in warning
        # an archive knows no moment before 1980
        assert client.get("/export").status_code == 200


def test_what_a_clock_of_another_year_kept_does_not_hold_the_right_one_up(data, wall):
    wall.by = timedelta(days=1000)
    with running(data) as address, Client(address) as client:
        client.calibrate()
        client.round(after())
    wall.by = timedelta(0)
    with running(data) as address, Client(address) as client:
        answer = client.round(after()).json()
        made = datetime.fromisoformat(answer["attempt"]["made_at"])
        assert abs(made - datetime.now(UTC)) < HOUR, "dated by the clock that is right"
        (warning,) = client.get("/health").json()["warnings"]
        assert "1000 days ahead of the clock" in warning.replace("999", "1000")


def test_moments_go_on_at_their_pace_while_the_clock_stands_behind(wall):
    steady = [100.0]
    moments = Moments(lambda: steady[0])
    first = moments.next()
    wall.by = -5 * HOUR
    steady[0] += 60
    second = moments.next()
    assert second - first == timedelta(minutes=1)
    steady[0] -= 1000  # never backwards, whatever it is asked for
    assert moments.next() > second
    wall.by = HOUR
    assert moments.next() - first > timedelta(minutes=59)
    assert moments.behind == timedelta(0)


def test_the_newest_that_is_kept_is_found(client, data):
    client.give(b"")
    with contextlib.closing(open_store(data)) as store:
        with store.reading() as reader:
            before = newest_kept(reader.connection)
        with store.writing() as writer:
            writer.tell("note", attempt_id=1)
        with store.reading() as reader:
            now = newest_kept(reader.connection)
    assert before is not None
    assert now > before


# -- who is let in ---------------------------------------------------------------------------


@pytest.fixture
def door(data):
    with (
        contextlib.closing(open_store(data)) as store,
        contextlib.closing(Door(store)) as door,
    ):
        yield door


@pytest.mark.parametrize("by", [-400 * 24 * HOUR, -2 * HOUR, 2 * HOUR, 400 * 24 * HOUR])
def test_a_paired_device_stays_let_in_whatever_the_clock_shows(door, wall, by):
    token, device = door.pair(door.new_code(Role.TABLE).code, "Tablet", source="a")
    wall.by = by
    assert door.known(token, source="a").id == device.id
    assert door.devices()[0].seen_at is not None
    # and another can be paired at once
    assert door.pair(door.new_code(Role.TABLE).code, "Phone", source="a")


def test_a_code_does_not_last_longer_because_the_clock_was_put_back(door, wall):
    made = door.new_code(Role.OWNER)
    wall.by = -2 * HOUR
    with pytest.raises(DoorError, match="past its 15 minutes"):
        door.pair(made.code, "Late", source="a")
    assert door.pair(door.new_code(Role.OWNER).code, "Phone", source="b")


def test_a_code_made_by_another_process_pairs_while_moments_go_on_ahead_of_the_clock(door, wall):
    wall.by = 3 * HOUR
    door.new_code(Role.VIEWER)
    wall.by = timedelta(0)
    assert door.pair(door.new_code(Role.TABLE).code, "Phone", source="b")


@pytest.mark.parametrize("by", [-24 * HOUR, 24 * HOUR])
def test_tries_are_counted_by_a_clock_that_nobody_puts_back(door, wall, by):
    for _ in range(5):
        with pytest.raises(DoorError, match="is none"):
            door.pair("AAAA-AAAA", "Stranger", source="c")
    wall.by = by
    with pytest.raises(DoorError) as refused:
        door.pair("AAAA-AAAA", "Stranger", source="c")
    assert refused.value.code == "too-many-tries"
    assert 0 < refused.value.fields["wait_s"] <= 61, "a minute, not hours"


def test_a_connection_that_waits_is_not_cut_off_by_a_jump_of_the_clock(data, wall):
    with running(data, limits=Limits()) as address, Client(address) as client:
        client.calibrate()
        for hours in (48, -48):
            wall.by = hours * HOUR
            assert client.get("/health").status_code == 200


# -- time zones ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("America/Los_Angeles", date(2026, 3, 7)),
        ("Europe/Berlin", date(2026, 3, 8)),
        ("Pacific/Kiritimati", date(2026, 3, 8)),
    ],
)
def test_a_day_is_that_of_the_room(zone, name, day):
    zone(name)
    assert day_of(datetime(2026, 3, 8, 4, 30, tzinfo=UTC)) == day


def test_a_session_of_the_evening_is_of_that_evening_in_every_zone(client, wall, zone, data):
    # 02:30 UTC: the evening before in America
    base = datetime.now(UTC).replace(hour=2, minute=30) + timedelta(days=1)
    wall.by = base - datetime.now(UTC)
    client.round(after())
    wall.by += 4 * HOUR
    client.round(after())
    for name, back in (("America/Los_Angeles", 1), ("Asia/Tokyo", 0)):
        zone(name)
        page = client.get(page_of(client, "progress")).text
        assert (base - timedelta(days=back)).date().isoformat() in page
        found = client.get("/attempts").json()["attempts"]
        assert found[-1]["made_at"].startswith(base.date().isoformat()), "UTC, whatever the zone"


@pytest.mark.parametrize(
    ("given", "utc"),
    [
        ("2026-10-25", "2026-10-24T22:00+00:00"),  # a day of 25 hours begins in summer time
        ("2026-10-25T02:30", "2026-10-25T00:30+00:00"),  # there twice: the first is meant
        ("2026-10-26", "2026-10-25T23:00+00:00"),
        ("2026-03-29T02:30", "2026-03-29T00:30+00:00"),  # not there: half past one is meant
        ("2026-03-30", "2026-03-29T22:00+00:00"),
        ("2026-10-25T02:30+01:00", "2026-10-25T01:30+00:00"),
    ],
)
def test_since_means_the_clock_of_the_room_where_no_zone_is_named(zone, given, utc):
    zone("Europe/Berlin")
    assert moment("--since", given) == datetime.fromisoformat(utc)


def test_shots_of_the_night_when_clocks_are_put_back_stay_in_their_order(client, wall, zone):
    zone("Europe/Berlin")
    # in the hour that there is twice: 02:50 summer time, 02:10 winter time
    for at in ("2026-10-25T00:50+00:00", "2026-10-25T01:10+00:00"):
        wall.by = datetime.fromisoformat(at) + timedelta(days=365 * 20) - datetime.now(UTC)
        client.round(after())
    numbers, times = played(client)
    assert numbers == sorted(numbers)
    gap = datetime.fromisoformat(times[1]) - datetime.fromisoformat(times[0])
    assert timedelta(minutes=19) < gap < timedelta(minutes=22), "twenty minutes, not minus forty"
    since = (datetime.fromisoformat(times[0]) + timedelta(minutes=10)).isoformat()
    assert client.get("/statistics", params={"since": since}).json()["statistics"]["attempts"] == 1


# at half past ten the three zones are at three days
@pytest.mark.parametrize("utc", ["00:30", "10:30", "23:30"])
def test_another_time_zone_does_not_move_the_daily_copies(tmp_path, zone, wall, utc):
    hour, minute = map(int, utc.split(":"))
    moment_utc = datetime.now(UTC)
    wall.by = moment_utc.replace(hour=hour, minute=minute) - moment_utc
    days = set()
    for name in ("Pacific/Kiritimati", "Pacific/Pago_Pago", "Europe/Berlin"):
        zone(name)
        days.add(day_of(moment_utc + wall.by))
        with contextlib.closing(open_store(tmp_path, hold=True)):
            kept = [copy.day for copy in daily_copies(tmp_path)]
            assert set(kept) == days, "one of today here, and none of before is lost"
            assert len(kept) == len(days)
