"""Tests of the outlet room."""
