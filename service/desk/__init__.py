"""What happens when a still, an intent, a note or a correction arrives.

In: bytes and JSON from whoever asks: API, page, watcher, command line. Out: records in the store,
changes told to listeners, and what is stored as values (scenes, sums, names). The one place that
writes a practice. It knows no HTTP: what it refuses has a code, and whoever asked words it.
"""
