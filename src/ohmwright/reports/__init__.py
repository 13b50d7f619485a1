"""Certificates: a finished run as PDF, HTML, CSV, XML and a label."""
