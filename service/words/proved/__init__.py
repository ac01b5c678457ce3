"""What a proof of accuracy says.

In: a `Proof` of ``service.proving``. Out: sentences and rows of texts. Touches nothing else.
"""
