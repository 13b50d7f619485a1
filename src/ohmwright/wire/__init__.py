"""Bytes: clock, links, codec, command sets, dialogues."""
