"""Which ball it is: one joint choice a still, a taught set, and names said by a person.

In: what the crop network says of each ball, the layout before, a taught set, corrections. Out:
names with confidence and runners-up. Of a picture it asks only whether it has colour.
"""
