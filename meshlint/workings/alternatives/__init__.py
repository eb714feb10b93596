"""What the site could be otherwise: other parents and bands, and what a failure leaves."""
