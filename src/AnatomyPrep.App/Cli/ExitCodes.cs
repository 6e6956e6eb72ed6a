namespace AnatomyPrep.App.Cli;

internal static class ExitCodes
{
    public const int Done = 0;
    public const int CheckFailed = 1;
    public const int WrongUsage = 2;
    public const int BadInput = 3;
    public const int InternalError = 4;
    public const int Cancelled = 130;
}
