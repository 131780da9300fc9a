"""Web push to the visit sheet's app on a phone: encrypted for that phone, signed by this site."""
