"""Tests of the door that starts, stops and checks installations."""
