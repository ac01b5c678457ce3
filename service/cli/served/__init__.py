"""Commands that ask a running service, by ``--server``, and what moves, keeps and examines a store.

In: the service's address, or a folder's store. Out: what the service answers, printed as the other
commands print it. Everything goes through ``service.client``.
"""
