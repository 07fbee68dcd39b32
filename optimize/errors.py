"""The one family of errors a user meets: what was wrong, where, what to do."""


class FinfrontError(Exception):
    """A fault the user can mend; printed without a traceback, exit code 2."""

    def __init__(self, what: str, where: str = "", do: str = "") -> None:
        super().__init__(what)
        self.what, self.where, self.do = what, where, do

    def __str__(self) -> str:
        lines = [f"error: {self.what}"]
        if self.where:
            lines.append(f"  where: {self.where}")
        if self.do:
            lines.append(f"  do:    {self.do}")
        return "\n".join(lines)

    def __reduce__(self) -> tuple[type["FinfrontError"], tuple[str, str, str]]:
        return type(self), (self.what, self.where, self.do)
