"""What finished prints say of filament and printer: Inspection + readings -> figures of one print, prints -> pooled."""
