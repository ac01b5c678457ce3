"""The networks' recipe: sets cut from rendered stills, training, export.

In: folders of stills with `truth.json`. Out: `finder.onnx`, `finder.pt` and `crops.onnx`, fit to
ship. What a network answers is the contract of ``vision.find`` and ``vision.place``.
"""
