using System.Globalization;
using System.Security.Cryptography;
using System.Text;

namespace AnatomyPrep.Phantoms.Dicom;

/// <summary>Words found nowhere else, one for each attribute asked for; remembers all it gave.</summary>
internal sealed class TelltaleWords(ulong seed)
{
    private readonly List<string> _given = [];

    public IReadOnlyList<string> Given => _given;

    /// <summary>Eleven capitals and digits: short enough for every textual representation.</summary>
    public string Word(string about)
    {
        var text = string.Create(CultureInfo.InvariantCulture, $"{seed}|{about}");
        var word = $"ZQ{Convert.ToHexString(SHA256.HashData(Encoding.UTF8.GetBytes(text)))[..8]}X";
        _given.Add(word);
        return word;
    }

    public string Name(string about) => $"{Word(about)}^{Word(about + " given")}";

    public string Date(string date)
    {
        _given.Add(date);
        return date;
    }
}
