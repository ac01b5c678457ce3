"""What a player waits for in a browser: verdict after a still, zone after a tap, first paint.

In: how many attempts the store holds already. Out: medians on an empty store and on that one, from
real Chromium on a real service. ``python -m service.bench.page``; it needs playwright, which the
extra ``test`` installs, and Debian's ``chromium``.
"""
