"""Layouts for tests of set-ups and of the library: balls anywhere, never one in another."""

from hypothesis import strategies as st

from vision.layout import BALL_IDS, Ball, Layout

SURFACE_MM = (2540.0, 1270.0)
CELL_MM = 90.0
JITTER_MM = 15.0
"""Balls in two cells lie at least 60 mm apart."""
COV_MM2 = ((0.1, 0.02), (0.02, 0.2))


def laid(places, *, still="laid.jpg", cov=COV_MM2, **more) -> Layout:
    """A layout with one ball a place, all names sure."""
    balls = tuple(Ball(id=n, x_mm=x, y_mm=y, cov_mm2=cov) for n, (x, y) in places.items())
    return Layout(still=still, surface_mm=SURFACE_MM, balls=balls, **more)


@st.composite
def places(draw, *, least=1, most=8, names=BALL_IDS):
    """Places by name, each at least a ball's width from the others and from the noses."""
    chosen = draw(st.lists(st.sampled_from(names), min_size=least, max_size=most, unique=True))
    columns, rows = (int((side - 60) // CELL_MM) for side in SURFACE_MM)
    cells = draw(
        st.lists(
            st.tuples(st.integers(0, columns - 1), st.integers(0, rows - 1)),
            min_size=len(chosen), max_size=len(chosen), unique=True,
        )
    )  # fmt: skip
    jitter = st.floats(-JITTER_MM, JITTER_MM, width=32)
    return {
        name: (75 + column * CELL_MM + draw(jitter), 75 + row * CELL_MM + draw(jitter))
        for name, (column, row) in zip(chosen, cells, strict=True)
    }


layouts = places().map(laid)
