"""What builds keep for later ones in the user's cache folder: nobody sees more of it than the time that it saves."""
