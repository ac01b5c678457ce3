"""What happens when a still, an intent, a note or a correction arrives.

In: bytes and JSON from whoever asks: API, page, watcher, command line. Out: records in the store
and changes told to listeners. The one place that writes a practice; knows no HTTP.
"""
