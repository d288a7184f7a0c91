"""Tests of the REST API, over real sockets."""
