// The structure tables of ISO 9660 against the structures of libcdio's headers.
#include <cstddef>

#include <catch2/catch.hpp>
#include <cdio/iso9660.h>

#include "filesystem/iso9660_structures.h"

namespace platter::test {
namespace {

namespace iso = filesystem::iso9660;

TEST_CASE("the tables agree with libcdio's structures") {
  struct Place {
    const Structure& structure;
    const char* field;
    std::size_t offset;
  };
  const Structure& d = iso::kVolumeDescriptor;
  const Place places[] = {
      {d, "type", offsetof(iso9660_pvd_t, type)},
      {d, "standard_id", offsetof(iso9660_pvd_t, id)},
      {d, "version", offsetof(iso9660_pvd_t, version)},
      {d, "system_id", offsetof(iso9660_pvd_t, system_id)},
      {d, "volume_id", offsetof(iso9660_pvd_t, volume_id)},
      {d, "blocks", offsetof(iso9660_pvd_t, volume_space_size)},
      {d, "set_size", offsetof(iso9660_pvd_t, volume_set_size)},
      {d, "sequence_number", offsetof(iso9660_pvd_t, volume_sequence_number)},
      {d, "block_bytes", offsetof(iso9660_pvd_t, logical_block_size)},
      {d, "path_table_bytes", offsetof(iso9660_pvd_t, path_table_size)},
      {d, "path_table_l", offsetof(iso9660_pvd_t, type_l_path_table)},
      {d, "optional_path_table_l", offsetof(iso9660_pvd_t, opt_type_l_path_table)},
      {d, "path_table_m", offsetof(iso9660_pvd_t, type_m_path_table)},
      {d, "optional_path_table_m", offsetof(iso9660_pvd_t, opt_type_m_path_table)},
      {d, "root", offsetof(iso9660_pvd_t, root_directory_record)},
      {d, "root_identifier", offsetof(iso9660_pvd_t, root_directory_filename)},
      {d, "volume_set_id", offsetof(iso9660_pvd_t, volume_set_id)},
      {d, "publisher_id", offsetof(iso9660_pvd_t, publisher_id)},
      {d, "preparer_id", offsetof(iso9660_pvd_t, preparer_id)},
      {d, "application_id", offsetof(iso9660_pvd_t, application_id)},
      {d, "copyright_file", offsetof(iso9660_pvd_t, copyright_file_id)},
      {d, "abstract_file", offsetof(iso9660_pvd_t, abstract_file_id)},
      {d, "bibliographic_file", offsetof(iso9660_pvd_t, bibliographic_file_id)},
      {d, "created", offsetof(iso9660_pvd_t, creation_date)},
      {d, "modified", offsetof(iso9660_pvd_t, modification_date)},
      {d, "expires", offsetof(iso9660_pvd_t, expiration_date)},
      {d, "effective", offsetof(iso9660_pvd_t, effective_date)},
      {d, "structure_version", offsetof(iso9660_pvd_t, file_structure_version)},
      {d, "application_use", offsetof(iso9660_pvd_t, application_data)},
      {d, "flags", offsetof(iso9660_svd_t, flags)},
      {d, "escape_sequences", offsetof(iso9660_svd_t, escape_sequences)},
      {iso::kDirectoryRecord, "length", offsetof(iso9660_dir_t, length)},
      {iso::kDirectoryRecord, "attribute_blocks", offsetof(iso9660_dir_t, xa_length)},
      {iso::kDirectoryRecord, "extent", offsetof(iso9660_dir_t, extent)},
      {iso::kDirectoryRecord, "bytes", offsetof(iso9660_dir_t, size)},
      {iso::kDirectoryRecord, "recorded", offsetof(iso9660_dir_t, recording_time)},
      {iso::kDirectoryRecord, "flags", offsetof(iso9660_dir_t, file_flags)},
      {iso::kDirectoryRecord, "unit_blocks", offsetof(iso9660_dir_t, file_unit_size)},
      {iso::kDirectoryRecord, "gap_blocks", offsetof(iso9660_dir_t, interleave_gap)},
      {iso::kDirectoryRecord, "sequence_number", offsetof(iso9660_dir_t, volume_sequence_number)},
      {iso::kDirectoryRecord, "identifier_length", offsetof(iso9660_dir_t, filename)},
  };
  for (const Place& place : places) {
    INFO(place.structure.name << ", " << place.field);
    const Field* field = place.structure.find(place.field);
    REQUIRE(field != nullptr);
    CHECK(field->offset == place.offset);
  }
  CHECK(iso::kVolumeDescriptor.bytes == sizeof(iso9660_pvd_t));
  CHECK(iso::kDirectoryRecord.bytes == sizeof(iso9660_dir_t));
  CHECK(iso::kDate17.bytes == sizeof(iso9660_ltime_t));
  CHECK(iso::kDate7.bytes == sizeof(iso9660_dtime_t));
}

}  // namespace
}  // namespace platter::test
