"""Options and records that formats of device files share."""
