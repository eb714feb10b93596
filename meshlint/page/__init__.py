"""A site for people: one self-contained HTML page for client, installer and reviewer."""
