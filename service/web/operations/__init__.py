"""The operations, one router a resource; handlers translate and delegate."""
