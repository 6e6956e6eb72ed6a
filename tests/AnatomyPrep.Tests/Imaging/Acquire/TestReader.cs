using AnatomyPrep.Imaging.Acquire;

namespace AnatomyPrep.Tests.Imaging.Acquire;

/// <summary>The real reader child: the program that stands beside the tests.</summary>
internal static class TestReader
{
    public static ReaderCommand Command { get; } =
        new("dotnet", [Path.Combine(AppContext.BaseDirectory, "AnatomyPrep.App.dll"), "reader-child"]);

    public static DicomSource Source { get; } = new(Command);

    /// <summary>
    /// A child that speaks the protocol and misbehaves by file name: "crash" aborts it, "hang" never ends, "once" kills
    /// it the first time only, "nonsense" answers what no child answers. Perl is part of every Debian.
    /// </summary>
    public static ReaderCommand Misbehaving(TestFolder folder)
    {
        var script = folder["child.pl"];
        File.WriteAllText(script, """
            $| = 1;
            while (my $line = <STDIN>) {
                while ($line =~ /"Index":(\d+),"Path":"([^"]*)"/g) {
                    my ($i, $p) = ($1, $2);
                    print "\x1e{\"Index\":$i,\"Final\":false,\"Bytes\":0}\n";
                    kill 'ABRT', $$ if $p =~ /crash/;
                    sleep 1000 if $p =~ /hang/;
                    if ($p =~ /once/ && !-e "$p.seen") { open(F, ">$p.seen"); close F; kill 'KILL', $$; }
                    print "\x1e{\"Index\":$i,\"Final\":true}\n" if $p =~ /nonsense/;
                    print "a library says something\n";
                    print "\x1e{\"Index\":$i,\"Final\":true,\"Sha256\":\"00\",\"Bytes\":0}\n";
                }
                print "\x1e{\"Index\":-1,\"Final\":true,\"Bytes\":0}\n";
            }
            """);
        return new ReaderCommand("perl", [script]);
    }

    /// <summary>Decodes single files with the real child; HU of file f, frame by frame, stand in entry f.</summary>
    public static (IReadOnlyList<ReaderReply> Replies, short[][] Hu) Decode(IReadOnlyList<string> paths, int samplesPerFrame, int framesPerFile = 1)
    {
        using var folder = new TestFolder();
        var output = folder["hu"];
        File.WriteAllBytes(output, new byte[(long)paths.Count * framesPerFile * samplesPerFrame * sizeof(short)]);
        using var reader = new ReaderProcess(Command, ReaderLimits.Default, paths.Max(p => new FileInfo(p).Length));
        var items = paths.Select((p, i) => new ReaderItem(i, p, null, [.. Enumerable.Range(i * framesPerFile, framesPerFile)])).ToArray();
        var replies = reader.Run(ReaderTask.Decode, items, output, "test", AnatomyPrep.Core.Running.RunContext.Default);
        var bytes = File.ReadAllBytes(output);
        var perFile = framesPerFile * samplesPerFrame;
        var hu = paths.Select((_, i) => System.Runtime.InteropServices.MemoryMarshal.Cast<byte, short>(bytes).Slice(i * perFile, perFile).ToArray()).ToArray();
        return (replies, hu);
    }
}
