"""What is plugged in: bridging, VLANs, power over cable, what fits what."""
