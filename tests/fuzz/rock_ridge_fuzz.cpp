// A directory of an optical volume with its system use entries. The input is a small volume: blocks
// of 2048 bytes, the first one the directory, any of them a continuation area.
#include "core/view.h"
#include "filesystem/iso9660_record.h"
#include "filesystem/iso9660_rock.h"
#include "filesystem/iso9660_susp.h"
#include "fuzz/input.h"

using namespace platter;                       // NOLINT(google-build-using-namespace)
using namespace platter::filesystem::iso9660;  // NOLINT(google-build-using-namespace)

namespace {

constexpr std::uint64_t kBlockBytes = 2048;

void walk_entries(const View& view, const ParsedRecord& record) {
  SystemUse use(view, kBlockBytes, {record.system_use.begin(), record.system_use.end()},
                record.place);
  std::size_t entries = 0;
  for (SystemUseEntry entry; use.next(entry);) {
    fuzz::promise(!entry.bytes.empty(), "an entry has bytes");
    (void)entry.as<kRockMode>();
    fuzz::promise(++entries < 100'000, "entries come to an end");
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  fuzz::Input input(data, size);
  const std::uint8_t choices = input.take();
  const Dialect dialect = (choices & 1U) != 0 ? Dialect::high_sierra : Dialect::ecma119;
  const View view(fuzz::image_from(input));
  std::vector<std::byte> buffer;
  DirectoryReader reader(view, dialect, 0, view.bytes(), buffer);
  RockReader rock(view, kBlockBytes, view.bytes());
  RockFields fields;
  ParsedRecord record;
  for (auto step = reader.next(record); step != DirectoryReader::Step::end;
       step = reader.next(record)) {
    if (step == DirectoryReader::Step::broken) {
      fuzz::promise(!reader.words().empty(), "what is broken is told");
      continue;
    }
    (void)halves_differ(dialect, record);
    rock.read(record, choices >> 4U, fields);
    fuzz::promise(fields.name.size() <= RockReader::kLongestName, "a name is short");
    fuzz::promise(fields.target.size() <= RockReader::kLongestLink, "a link is short");
    fuzz::promise(rock.areas().size() <= SystemUse::kMostAreas, "few areas for a record");
    walk_entries(view, record);
  }
  Claim claim;
  (void)root_extensions(claim, view, 0, kBlockBytes);
  fuzz::promise_findings(claim.findings);
  return 0;
}
