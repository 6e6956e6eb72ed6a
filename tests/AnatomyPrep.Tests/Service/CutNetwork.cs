using System.Globalization;
using AnatomyPrep.Tests.Records;

namespace AnatomyPrep.Tests.Service;

/// <summary>A network namespace joined to this machine by one line that can be cut; packets are then lost without a word. Needs root and iproute2.</summary>
internal sealed class CutNetwork : IDisposable
{
    private readonly string _outer = $"apo{Environment.ProcessId.ToString(CultureInfo.InvariantCulture)}";
    private readonly string _inner = $"api{Environment.ProcessId.ToString(CultureInfo.InvariantCulture)}";

    public CutNetwork()
    {
        Name = $"anatomyprep-{Environment.ProcessId.ToString(CultureInfo.InvariantCulture)}";
        var net = string.Create(CultureInfo.InvariantCulture, $"10.{200 + (Environment.ProcessId / 256 % 50)}.{Environment.ProcessId % 256}");
        Address = $"{net}.1";
        Ip("netns", "add", Name);
        Ip("link", "add", _outer, "type", "veth", "peer", "name", _inner, "netns", Name);
        Ip("addr", "add", $"{Address}/30", "dev", _outer);
        Ip("link", "set", _outer, "up");
        Ip("-n", Name, "addr", "add", $"{net}.2/30", "dev", _inner);
        Ip("-n", Name, "link", "set", "lo", "up");
        Join();
    }

    public string Name { get; }

    /// <summary>This machine, as the namespace sees it.</summary>
    public string Address { get; }

    public void Cut() => Ip("-n", Name, "link", "set", _inner, "down");

    public void Join() => Ip("-n", Name, "link", "set", _inner, "up");

    public void Dispose() => Tool.Run("/", "ip", "netns", "del", Name);

    private static void Ip(params string[] words) => Tool.Run("/", "ip", words).ExitCode.Should().Be(0, "ip {0}", string.Join(' ', words));
}
