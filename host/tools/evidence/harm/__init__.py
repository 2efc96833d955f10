"""A guided search for harm: what procedures, messages, pauses, resets and noise can do to a part at most.

A *stage* is a bench with one part, compiled. A *life* is what a host does to it, a minute from power-up.
Its harm is compared with that of honest use under the same limits: one drive held, or the part stroked to and
fro, until the bench stops it. What a life reaches beyond that, the bench's protection forgot.
"""
