"""What is kept to be laid and played again: layouts, plans, and the set-up guide at each table.

In: documents as callers give them, files, pictures of the table while it is being laid. Out:
records of the store, and looks at the table against the layout that is wanted. Changes the store
and tells whoever listens; a look keeps nothing.
"""
