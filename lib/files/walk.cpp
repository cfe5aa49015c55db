#include "files/walk.h"

#include "files/path_parts.h"
#include "files/reading_ahead.h"
#include "files/walker.h"

namespace platter {

WalkResult walk(Volume& volume, NodeId top, std::string_view top_path,
                FunctionRef<Step(const FileVisit&)> visit, std::vector<Finding>& findings,
                WalkOrder order) {
  // Whether a path is plain is not worth finding out.
  return Walker(volume, visit, findings, order)
      .from(top, {.path = std::string(top_path), .plain = top_path.empty()});
}

WalkResult walk(Volume& volume, const FoundPath& top, FunctionRef<Step(const FileVisit&)> visit,
                std::vector<Finding>& findings, WalkOrder order) {
  return Walker(volume, visit, findings, order)
      .from(top.node, {.path = top.path,
                       .bytes = top.exact ? std::string() : top.raw_path,
                       .exact = top.exact,
                       .plain = false});
}

WalkResult walk_to_text(Volume& volume, FunctionRef<Step(const FileVisit&)> visit,
                        FunctionRef<Step(std::string_view)> put,
                        std::function<std::unique_ptr<SecondReader>()> second,
                        std::vector<Finding>& findings, std::uint64_t alone) {
  ReadingAhead ahead(std::move(second));
  Walker walker(volume, visit, findings, WalkOrder::by_directory);
  walker.read_ahead(ahead, put, alone);
  return walker.from(volume.root(), {});
}

std::optional<FoundPath> find_path(Volume& volume, std::string_view path) {
  FoundPath place;
  place.node = volume.root();
  while (true) {
    while (!path.empty() && path.front() == '/')
      path.remove_prefix(1);
    if (path.empty()) return place;
    const std::string_view wanted = path.substr(0, path.find('/'));
    path.remove_prefix(wanted.size());
    bool found = false;
    volume.each_entry(place.node, [&](const Entry& entry) {
      const bool same = is_plain(entry) ? entry.name == wanted : decode_name(entry).utf8 == wanted;
      if (!same) return true;
      found = true;
      const bool exact = decode_name(entry).exact;
      append_part(place.path, wanted);
      append_part(place.raw_path, exact ? wanted : entry.name);
      place.exact = place.exact && exact;
      place.name = entry.name;
      place.charset = entry.charset;
      place.node = entry.node;
      place.place = entry.place;
      return false;
    });
    if (!found) return std::nullopt;
  }
}

bool is_unusable_name(std::string_view name) noexcept {
  return name.empty() || name == "." || name == ".." || has_slash_or_nul(name);
}

}  // namespace platter
