"""Rendered scenes with exact truth: development sets and the sample stills (extra ``train``)."""
