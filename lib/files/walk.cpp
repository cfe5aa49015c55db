#include "files/walk.h"

#include "files/path_parts.h"
#include "files/reading_ahead.h"
#include "files/walker.h"

namespace platter {

WalkResult walk(Volume& volume, NodeId top, std::string_view top_path,
                FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings,
                WalkOrder order) {
  return Walker(volume, visit, findings, order).from(top, top_path);
}

WalkResult walk_to_text(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                        FunctionRef<Step(std::string_view)> put,
                        std::function<std::unique_ptr<SecondReader>()> second,
                        std::vector<Finding>& findings, std::uint64_t alone) {
  ReadingAhead ahead(std::move(second));
  Walker walker(volume, visit, findings, WalkOrder::by_directory);
  walker.read_ahead(ahead, put, alone);
  return walker.from(volume.root(), "");
}

std::optional<FoundPath> find_path(Volume& volume, std::string_view path) {
  FoundPath place{volume.root(), 0, {}};
  while (true) {
    while (!path.empty() && path.front() == '/')
      path.remove_prefix(1);
    if (path.empty()) return place;
    const std::string_view wanted = path.substr(0, path.find('/'));
    path.remove_prefix(wanted.size());
    std::optional<Entry> found;
    volume.each_entry(place.node, [&](const Entry& entry) {
      const bool same = is_plain(entry) ? entry.name == wanted : decode_name(entry).utf8 == wanted;
      if (same) found = Entry{{}, entry.charset, entry.node, entry.place};
      return !same;
    });
    if (!found) return std::nullopt;
    append_part(place.path, wanted);
    place.node = found->node;
    place.place = found->place;
  }
}

bool is_unusable_name(std::string_view name) noexcept {
  return name.empty() || name == "." || name == ".." || name.find('/') != std::string_view::npos ||
         name.find('\0') != std::string_view::npos;
}

}  // namespace platter
