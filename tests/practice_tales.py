"""Stories of every kind of transition, hard ones included; each yields a whole short sequence."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from play import Aim, D
from practice_stories import Story, intent_for

from service.practice.between.seen import Seen

BY_HAND = Seen(rolled=False, hand_over_bed=True)
ROLLED = Seen(rolled=True, hand_over_bed=True)


def _pot(story: Story, kind: str, *, error_deg: float = 0.25, intended: bool | None = None) -> Aim:
    """The easiest pot with a player's error, laid anew where there is none; taken as a still."""
    aim = story.easiest()
    while aim is None:
        story.lay(*story.places)
        story.still("laid anew", "corrected", seen=BY_HAND)
        aim = story.easiest()
    rng = story.rng
    with_intent = rng.random() < 0.5 if intended is None else intended
    speed = rng.uniform(0.9, 1.5) * math.sqrt(aim.way_mm * 400) + 500
    turn = aim.aim_rad + math.radians(rng.normal(0, error_deg))
    spin = float(rng.uniform(-0.8, 1.0))
    tried = story.strike(turn, speed, spin, keep=False)
    while not tried.hit:  # a shot that misses everything is a kind of its own
        turn = (turn + aim.aim_rad) / 2
        tried = story.strike(turn, speed, spin, keep=False)
    story.places = dict(tried.rest_mm)
    story.shot(kind, tried, intent=intent_for(aim) if with_intent else None)
    return aim


def _after_scratch(story: Story) -> None:
    if "cue" not in story.places:
        story.lay("cue")
        story.still("cue ball in hand after a scratch", "placed")


def same_again(story: Story) -> None:
    """One layout played again and again, pots and misses."""
    rng = story.rng
    story.lay("cue", *(str(n) for n in range(1, 2 + int(rng.integers(1, 6)))))
    goal, first = dict(story.places), story.still()
    for _ in range(3):
        _pot(story, "shot at a repeated layout", error_deg=float(rng.choice([0.2, 1.5])))
        if rng.random() < 0.2:
            story.still("the same still twice", "nothing")
        if rng.random() < 0.3:
            _after_scratch(story)
        story.set_up(goal)
        story.still("set up again", "set_up", repeats=first)


def run_out(story: Story) -> None:
    """Free play until few balls are left."""
    story.lay("cue", *(str(n) for n in range(1, 1 + int(story.rng.integers(3, 8)))))
    story.still()
    for _ in range(6):
        if len(story.places) <= 2:
            break
        _pot(story, "free play")
        _after_scratch(story)


def soft_shots(story: Story) -> None:
    """Shots that end near where they began, each followed by the same layout again."""
    story.lay("cue", "2", "5")
    x, y = story.places["1"] = story.places.pop("2")
    length, width = story.table.surface_mm
    turn = math.atan2(width / 2 - y, length / 2 - x)
    gap = D + story.rng.uniform(4, 25)
    story.places["cue"] = (x + gap * math.cos(turn), y + gap * math.sin(turn))
    if math.dist(story.places["cue"], story.places["5"]) < 2 * D:
        story.lay("5")
    goal, first = dict(story.places), story.still()
    for _ in range(2):
        speed = 160.0
        aim = turn + math.pi
        tried = story.strike(aim, speed, 0.0, keep=False)
        while "1" not in tried.hit or math.dist(tried.rest_mm["1"], story.places["1"]) < 12:
            speed += 30
            cue, one = story.places["cue"], story.places["1"]
            aim = math.atan2(one[1] - cue[1], one[0] - cue[0])
            tried = story.strike(aim, speed, 0.0, keep=False)
        story.shot("soft shot that ends near its start", story.strike(aim, speed, 0.0))
        story.set_up(goal, spread_mm=4.0)
        story.still("set up again after a soft shot", "set_up", repeats=first)


def breaks(story: Story) -> None:
    """A rack or a cluster is broken, then one pot and the same again."""
    rng = story.rng
    names = [str(n) for n in range(1, 1 + int(rng.choice([4, 6, 9, 10, 15])))]
    story.cluster(*names)
    story.lay("cue", apart_mm=400)
    goal, first = dict(story.places), story.still()
    target = story.places[names[0]]
    cue = story.places["cue"]
    aim = math.atan2(target[1] - cue[1], target[0] - cue[0]) + rng.normal(0, 0.01)
    out = story.strike(aim, float(rng.uniform(1500, 7000)), float(rng.uniform(-0.5, 1)))
    story.shot("cluster broken", out)
    if "cue" not in story.places:
        _after_scratch(story)
    story.set_up(goal, spread_mm=0.6)
    story.still("cluster set up again", "set_up", repeats=first)


def combination(story: Story) -> None:
    """The cue ball sends a ball into the ball that drops."""
    pocket = story.table.pockets[int(story.rng.integers(6))]
    aim, inward = np.array(pocket.aim_mm), np.array(pocket.inward)
    near, gap, far = story.rng.uniform(150, 450), story.rng.uniform(5, 60), 350.0
    for name, back in (("3", near), ("7", near + D + gap), ("cue", near + D + gap + D + far)):
        x, y = aim - back * inward
        story.places[name] = (float(x), float(y))
    story.lay("12", "13")
    story.still()
    out = story.strike(math.atan2(inward[1], inward[0]), 2200.0, 0.0)
    story.shot("combination", out)


def two_down(story: Story) -> None:
    """A ball hangs in the jaws; the ball played at takes it along, or both drop elsewhere."""
    rng = story.rng
    for _ in range(60):
        story.places = {}
        story.lay("cue", "1", "2", "3")
        pocket = story.table.pockets[int(rng.choice([0, 1, 4, 5]))]
        x, y = np.array(pocket.aim_mm) - 62 * np.array(pocket.inward)
        story.places["8"] = (float(x), float(y))
        for aim in (a for a in pots(story) if a.ball in "123"):
            out = story.strike(aim.aim_rad, 2500.0, float(rng.uniform(-0.5, 1)), keep=False)
            if len(set(out.potted) - {"cue"}) == 2:
                story.still()
                story.places = dict(out.rest_mm)
                story.shot("two balls potted", out)
                return
    story.still()


def pots(story: Story) -> list[Aim]:
    """Pots by way of the hanging ball too: it is left out as an obstacle."""
    from play import pots as all_pots

    places = {name: at for name, at in story.places.items() if name != "8"}
    return all_pots(places, story.table)


def scratches(story: Story) -> None:
    """The cue ball drops as well; it is placed by hand, alone or with a ball put back."""
    rng = story.rng
    for _ in range(80):
        story.places = {}
        story.lay("cue", "1", "2", "9")
        aim = story.easiest()
        if aim is None:
            continue
        spin, speed = float(rng.uniform(0.3, 1.0)), float(rng.uniform(1500, 3500))
        out = story.strike(aim.aim_rad, speed, spin, keep=False)
        if "cue" in out.potted:
            story.still()
            story.places = dict(out.rest_mm)
            story.shot("scratch", out)
            down = [ball for ball in out.potted if ball != "cue"]
            story.lay("cue")
            if down and rng.random() < 0.5:
                story.lay(*down)
                story.still("spotted with the cue ball placed", "spotted")
            else:
                story.still("cue ball in hand after a scratch", "placed")
            return
    story.still()


def spotting(story: Story) -> None:
    """A ball on the foot spot is potted and put back on it; or two anywhere."""
    story.lay("cue", "2", "5")
    story.places["9"] = story.table.spots_mm["foot"]
    story.still()
    aim = next((a for a in pots(story) if a.ball == "9"), None) or story.easiest()
    if aim is None:
        return
    out = story.strike(aim.aim_rad, 2200.0, -0.2)
    story.shot("free play", out)
    down = [ball for ball in out.potted if ball != "cue"]
    if not down or "cue" not in story.places:
        return
    if "9" in down and story._free(story.table.spots_mm["foot"], D + 1):
        x, y = story.table.spots_mm["foot"]
        story.places["9"] = (x + float(story.rng.normal(0, 1)), y + float(story.rng.normal(0, 1)))
        story.still("a ball back on its spot", "spotted")
    else:
        story.lay(*down)
        story.still("a potted ball put back", "spotted")


def hands(story: Story) -> None:
    """Corrections, touches, the same table, a cue ball lifted; names in doubt."""
    rng = story.rng
    story.lay("cue", "1", "4", "6", "10")
    story.still()
    story.push("4", float(rng.uniform(12, 50)))
    story.still("one ball corrected a little", "corrected")
    story.push(str(rng.choice(["1", "6"])), float(rng.uniform(60, 400)))
    story.still("one ball moved far", "corrected")
    story.lay("6", "10")
    story.still("two balls moved", "corrected")
    story.push(str(rng.choice(["cue", "1"])), 2.0)
    story.still("a touch of 2 mm", "nothing")
    story.still("the same still twice", "nothing")
    story.lay("cue")
    story.still("cue ball lifted and placed", "placed")
    story.push("cue", float(rng.uniform(15, 50)))
    story.still("cue ball moved a little", "placed")
    story.still("a name changed", "nothing")
    story.doubt({"4": "12"})
    story.still("the name right again", "nothing")
    story.still("two names changed over", "nothing")
    story.doubt({"1": "6", "6": "1"})
    story.still("two names right again", "nothing")


def names_in_shots(story: Story) -> None:
    """A shot whose still after gives a ball that stayed, or that moved, another name."""
    story.lay("cue", "2", "3", "5", "8")
    story.still()
    _pot(story, "shot with a name in doubt")
    there = [name for name in story.places if name != "cue"]
    other = str(story.rng.choice(["10", "11", "13"]))
    if there:
        story.doubt({str(story.rng.choice(there)): other})


def elsewhere(story: Story) -> None:
    """The same balls laid somewhere else, after a pot and after a miss."""
    story.lay("cue", *(str(n) for n in range(1, 1 + int(story.rng.integers(3, 7)))))
    names = list(story.places)
    story.still()
    _pot(story, "free play", error_deg=0.3)
    story.lay(*names)
    story.still("the same balls laid elsewhere", "corrected")


def never(story: Story) -> None:
    """What no play and no hand of the known kinds explains."""
    rng = story.rng
    story.lay("cue", "1", "2", "3")
    story.still()
    story.places.pop("2")
    story.still("a ball vanishes", "impossible")
    story.places.pop("1")
    story.lay("14")
    story.still("one ball came, another went", "impossible")
    story.places.pop("cue")
    story.still()
    story.truths[-1] = None  # the cue ball taken up: told apart below, with frames
    story.places.pop(str(rng.choice(["3", "14"])))
    story.still("a ball went without a cue ball", "impossible")


def missing(story: Story) -> None:
    """The still after the shot is missing: only the set-up is seen."""
    story.lay("cue", "1", "2", "3", "4", apart_mm=250)
    goal, first = dict(story.places), story.still()
    aim = story.easiest()
    if aim is None:
        return
    out = story.strike(aim.aim_rad, 2000.0, 0.2)
    if not out.potted:
        return
    story.set_up(goal)
    story.still("set up again, the shot not seen", "set_up", repeats=first)
    _pot(story, "shot at a repeated layout")


def with_frames(story: Story) -> None:
    """What layouts alone leave in doubt, with what frames showed."""
    rng = story.rng
    story.lay("cue", "1", "2")
    story.still()
    story.lay("cue")
    story.still("frames: cue ball placed", "placed", seen=BY_HAND)
    story.lay("cue", "1")
    story.still("frames: two balls laid elsewhere", "corrected", seen=BY_HAND)
    for turn in rng.uniform(0, 2 * math.pi, 60):
        out = story.strike(float(turn), 1500.0, 0.5, keep=False)
        if not out.hit and not out.potted:
            story.places = dict(out.rest_mm)
            story.shot("frames: a shot that touched nothing", out, seen=ROLLED)
            break
    story.places.pop("cue")
    story.still("frames: cue ball taken up", "placed", seen=BY_HAND)


def in_steps(story: Story) -> None:
    """A layout laid again ball by ball, a still after each."""
    story.lay("cue", "1", "2", "3", apart_mm=250)
    goal, first = dict(story.places), story.still()
    aim = _pot(story, "free play")
    if aim.ball in story.places or "cue" not in story.places:
        return
    story.set_up({aim.ball: goal[aim.ball]})
    story.still("a potted ball put back", "spotted")
    story.set_up(goal)
    story.still("the last ball of a set-up", "set_up", repeats=first)
    _pot(story, "shot at a repeated layout")


def farther(story: Story) -> None:
    """The ball that was potted is put back farther away, the cue ball where it lay."""
    story.lay("cue", "1", "2", apart_mm=300)
    goal = dict(story.places)
    story.still()
    aim = _pot(story, "free play")
    others = [name for name in goal if name not in ("cue", aim.ball)]
    if aim.ball in story.places or any(story.places.get(n) != goal[n] for n in others):
        return
    story.set_up({name: at for name, at in goal.items() if name != aim.ball})
    story.places[aim.ball] = goal[aim.ball]
    story.push(aim.ball, 200.0)
    story.still("a potted ball put back farther away", "spotted")


def touching(story: Story) -> None:
    """The cue ball lies against the ball that it sends off, and stays."""
    story.lay("1", "5", "6")
    x, y = story.places["1"]
    length, width = story.table.surface_mm
    turn = math.atan2(width / 2 - y, length / 2 - x)
    story.places["cue"] = (x + (D + 0.2) * math.cos(turn), y + (D + 0.2) * math.sin(turn))
    if any(math.dist(story.places["cue"], story.places[n]) < 1.5 * D for n in "56"):
        story.lay("5", "6")
    story.still()
    out = story.strike(turn + math.pi + float(story.rng.normal(0, 0.15)), 1500.0, 0.0)
    story.shot("shot off a touching ball", out)


def cue_ball_alone(story: Story) -> None:
    """Speed practice with nothing but a cue ball, and the ball laid back."""
    story.places["cue"] = (635.0, 635.0)
    first = story.still()
    for _ in range(3):
        out = story.strike(float(story.rng.normal(0, 0.06)), float(story.rng.uniform(1500, 2500)))
        if out.potted:
            return
        story.shot("speed practice", out)
        story.set_up({"cue": (635.0, 635.0)})
        story.still("cue ball laid back", "set_up", repeats=first)


def in_doubt(story: Story) -> None:
    """What two layouts cannot tell: a shot past everything, few balls laid elsewhere by hand."""
    story.lay("cue", "1", "2")
    story.still()
    for turn in story.rng.uniform(0, 2 * math.pi, 60):
        out = story.strike(float(turn), 1500.0, 0.5, keep=False)
        if not out.hit and not out.potted:
            story.places = dict(out.rest_mm)
            story.shot("a shot that touched nothing", out)
            break
    aim = story.easiest()
    if aim is None:
        return
    out = story.strike(aim.aim_rad + 0.03, 900.0, 0.2)
    if out.potted or not out.hit:
        return
    story.shot("free play", out)
    story.lay("cue", "1", "2")
    story.still("cue ball and two balls laid elsewhere", "corrected")


TALES: tuple[tuple[Callable[[Story], None], int], ...] = (
    (same_again, 22),
    (run_out, 14),
    (soft_shots, 8),
    (breaks, 14),
    (combination, 8),
    (two_down, 8),
    (scratches, 10),
    (spotting, 14),
    (hands, 5),
    (names_in_shots, 10),
    (elsewhere, 10),
    (never, 5),
    (missing, 10),
    (in_steps, 8),
    (farther, 8),
    (touching, 6),
    (with_frames, 5),
    (cue_ball_alone, 4),
)
"""Each tale and how often it is told."""
