"""Writers: one small module a format, each turns a `Result` into bytes and touches no disk."""
