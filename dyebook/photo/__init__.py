"""From a photo to readings: read, card, light, camera, part, reading, flaw; `measure` chains them.

Card, parts and flaws are found by three finders of one shape: candidates, their features, a probability for each by a
classifier of its own, and a choice by that probability. For speed all work on one small picture averaged in linear
light; nothing adds or ranks along an axis of three, and matrix products stay too small for libraries to start threads.
"""
