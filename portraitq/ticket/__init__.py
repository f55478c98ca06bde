"""What the customer takes along: the ticket's code, its QR, the calendar alarm, the booth's Wi-Fi."""
