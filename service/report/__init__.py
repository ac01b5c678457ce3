"""Results in words, figures and tables, and the self-contained page about a session.

In: a session's result, or a part of it. Out: sentences, tables for the terminal, one HTML file.
What is true is settled before; here is only how it is said.
"""
