"""Rendered stills with exact truth, and the networks made of them (extra ``train``).

In: seeds. Out: the sample stills, sets of stills with `truth.json`, weights. The modules here are
recipes; ``scenes`` draws and ``nets`` trains. Nothing that runs at a table imports this room.
"""
