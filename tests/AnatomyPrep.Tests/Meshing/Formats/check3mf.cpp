// What the reference reader of the 3MF Consortium finds in a file, as "name value" lines.
// build: g++ -O1 -I/usr/include/lib3mf check3mf.cpp -l3MF -o check3mf
#include <cstdio>
#include <cstdlib>
#include <map>
#include <string>
#include <vector>
#include "Model/COM/NMR_DLLInterfaces.h"
using namespace NMR;

static void check(LIB3MFRESULT result, const char *what)
{
    if (result == LIB3MF_OK)
        return;
    std::printf("failed %s %x\n", what, (unsigned)result);
    std::exit(1);
}

static void describe(PLib3MFModelObjectResource *object)
{
    PLib3MFModelMeshObject *mesh = object;
    DWORD vertices, triangles, type;
    BOOL solid, valid;
    check(lib3mf_meshobject_getvertexcount(mesh, &vertices), "vertices");
    check(lib3mf_meshobject_gettrianglecount(mesh, &triangles), "triangles");
    check(lib3mf_object_gettype(object, &type), "type");
    check(lib3mf_object_isvalidobject(object, &valid), "valid");
    check(lib3mf_meshobject_ismanifoldandoriented(mesh, &solid), "manifold");
    std::printf("vertices %u\ntriangles %u\ntype %u\nvalid %d\nmanifold %d\n", (unsigned)vertices, (unsigned)triangles, (unsigned)type, (int)valid, (int)solid);
    std::vector<MODELMESHVERTEX> points(vertices);
    std::vector<MODELMESHTRIANGLE> faces(triangles);
    check(lib3mf_meshobject_getvertices(mesh, points.data(), vertices, nullptr), "points");
    check(lib3mf_meshobject_gettriangleindices(mesh, faces.data(), triangles, nullptr), "faces");
    double volume = 0;
    for (auto &face : faces)
    {
        auto a = points[face.m_nIndices[0]].m_fPosition, b = points[face.m_nIndices[1]].m_fPosition, c = points[face.m_nIndices[2]].m_fPosition;
        volume += (a[0] * ((double)b[1] * c[2] - (double)b[2] * c[1]) + a[1] * ((double)b[2] * c[0] - (double)b[0] * c[2]) + a[2] * ((double)b[0] * c[1] - (double)b[1] * c[0])) / 6;
    }

    std::printf("volume %.9g\n", volume);
    PLib3MFPropertyHandler *properties;
    check(lib3mf_meshobject_createpropertyhandler(mesh, &properties), "properties");
    std::map<std::string, int> materials;
    std::vector<DWORD> groups(triangles), indices(triangles);
    check(lib3mf_propertyhandler_getbasematerialarray(properties, groups.data(), indices.data()), "materials");
    for (DWORD t = 0; t < triangles; t++)
        materials[std::to_string(groups[t]) + "/" + std::to_string(indices[t])]++;
    for (auto &material : materials)
        std::printf("material:%s %d\n", material.first.c_str(), material.second);
}

int main(int, char **arguments)
{
    PLib3MFModel *model;
    PLib3MFModelReader *reader;
    check(lib3mf_createmodel(&model), "model");
    check(lib3mf_model_queryreader(model, "3mf", &reader), "reader");
    check(lib3mf_reader_setstrictmodeactive(reader, true), "strict");
    check(lib3mf_reader_readfromfileutf8(reader, arguments[1]), "read");
    DWORD warnings, unit, metadata;
    check(lib3mf_reader_getwarningcount(reader, &warnings), "warnings");
    check(lib3mf_model_getunit(model, &unit), "unit");
    check(lib3mf_model_getmetadatacount(model, &metadata), "metadata");
    std::printf("warnings %u\nunit %u\n", (unsigned)warnings, (unsigned)unit);
    for (DWORD i = 0; i < metadata; i++)
    {
        char key[1024], value[4096];
        ULONG needed;
        check(lib3mf_model_getmetadatakeyutf8(model, i, key, sizeof key, &needed), "key");
        check(lib3mf_model_getmetadatavalueutf8(model, i, value, sizeof value, &needed), "value");
        std::printf("metadata:%s %s\n", key, value);
    }

    PLib3MFModelBuildItemIterator *items;
    BOOL more;
    check(lib3mf_model_getbuilditems(model, &items), "items");
    while (lib3mf_builditemiterator_movenext(items, &more) == LIB3MF_OK && more)
    {
        PLib3MFModelBuildItem *item;
        PLib3MFModelObjectResource *object;
        MODELTRANSFORM map;
        check(lib3mf_builditemiterator_getcurrent(items, &item), "item");
        check(lib3mf_builditem_getobjecttransform(item, &map), "transform");
        check(lib3mf_builditem_getobjectresource(item, &object), "object");
        std::printf("move %g %g %g\n", map.m_fFields[0][3], map.m_fFields[1][3], map.m_fFields[2][3]);
        BOOL assembly;
        check(lib3mf_object_iscomponentsobject(object, &assembly), "kind");
        if (!assembly)
        {
            describe(object);
            continue;
        }

        DWORD parts;
        check(lib3mf_componentsobject_getcomponentcount(object, &parts), "components");
        std::printf("components %u\n", (unsigned)parts);
        for (DWORD p = 0; p < parts; p++)
        {
            PLib3MFModelComponent *component;
            PLib3MFModelObjectResource *part;
            check(lib3mf_componentsobject_getcomponent(object, p, &component), "component");
            check(lib3mf_component_getobjectresource(component, &part), "part");
            describe(part);
        }
    }

    PLib3MFModelAttachment *thumbnail;
    if (lib3mf_model_getpackagethumbnailattachment(model, false, &thumbnail) == LIB3MF_OK && thumbnail != nullptr)
    {
        ULONG64 bytes;
        char path[256];
        ULONG needed;
        check(lib3mf_attachment_getstreamsize(thumbnail, &bytes), "thumbnail");
        check(lib3mf_attachment_getpathutf8(thumbnail, path, sizeof path, &needed), "path");
        std::printf("thumbnail %s %llu\n", path, (unsigned long long)bytes);
    }

    return 0;
}
