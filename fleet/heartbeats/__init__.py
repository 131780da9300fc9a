"""When each part that works by itself was last seen at work, in rows that are overwritten; and the outside watcher."""
