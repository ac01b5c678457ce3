"""The report: words, figures and the self-contained page about a session."""
